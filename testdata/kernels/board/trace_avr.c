/* trace_avr FILE.elf ENTRY STOP: prints address and cycle of every instruction
 * until the address STOP (behind an @), then the most stack used since ENTRY was called. */
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

extern avr_kind_t *avr_kind[];

/* The first core with 64 KiB of flash: it has a multiplier and a 16-bit program counter. */
static avr_t *core(void)
{
    int i;

    for (i = 0; avr_kind[i] != NULL; i++) {
        avr_t *avr = avr_kind[i]->make();

        if (avr->flashend == 0xffff) {
            return avr;
        }
    }
    return NULL;
}

int main(int argc, char **argv)
{
    elf_firmware_t firmware;
    avr_t *avr = core();
    avr_flashaddr_t entry;
    avr_flashaddr_t stop;
    unsigned at_entry = 0;
    unsigned lowest = 0xffff;

    memset(&firmware, 0, sizeof firmware);
    if (argc != 4 || avr == NULL || elf_read_firmware(argv[1], &firmware) != 0) {
        return 1;
    }
    entry = (avr_flashaddr_t)strtoul(argv[2], NULL, 16);
    stop = (avr_flashaddr_t)strtoul(argv[3], NULL, 16);
    avr_init(avr);
    avr_load_firmware(avr, &firmware);
    while (avr->pc != stop) {
        const unsigned sp = avr->data[R_SPL] | (avr->data[R_SPH] << 8);

        if (avr->pc == entry) {
            at_entry = sp;
        }
        if (at_entry != 0 && sp < lowest) {
            lowest = sp;
        }
        printf("@%x %llu\n", avr->pc, (unsigned long long)avr->cycle);
        if (avr_run(avr) >= cpu_Done) {
            return 1;
        }
    }
    printf("stack %u\n", at_entry - lowest);
    return 0;
}
