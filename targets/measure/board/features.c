/* The preprocessor alone reads this: the number of features is the last line. */
#include "network.h"
NETWORK_FEATURES
