/* The RAM that a network needs between two steps. */
#include "network.h"

network_state one_state;
