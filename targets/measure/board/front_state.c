/* The RAM that a front end needs between two calls. */
#include "network.h"

network_front one_front;
