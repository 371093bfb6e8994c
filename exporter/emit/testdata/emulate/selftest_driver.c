/* Runs the self-test without stdio of its own, and prints what it returns. */
#include "leakair.h"
#include <stdio.h>

int main(void)
{
    printf("selftest %ld\n", (long)leakair_selftest());
    printf("finished\n");
    return 0;
}
