/* trace_avr IMAGE ENTRY FIRST BEHIND: runs a flat image on an ATmega1284P and
 * prints, for every call of ENTRY, "step CYCLES INSTRUCTIONS" until control is
 * back between FIRST and BEHIND, then what the program reports. Addresses are
 * hexadecimal, in bytes. */
#include <simavr/sim_avr.h>
#include <simavr/sim_io.h>
#include <stdio.h>
#include <stdlib.h>

#define REPORT_ADDRESS 0x3e /* as board_put in board.h */

static uint8_t image[0x20000];

static void reported(struct avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused)
{
    (void)unused;
    avr->data[address] = value;
    putchar(value);
}

int main(int argc, char **argv)
{
    avr_t *avr = avr_make_mcu_by_name("atmega1284p");
    FILE *file = (argc == 5) ? fopen(argv[1], "rb") : NULL;
    avr_flashaddr_t entry, first, behind;
    avr_cycle_count_t begin = 0;
    unsigned long instructions = 0;
    int inside = 0;
    int state = cpu_Running;
    uint32_t size;

    if (avr == NULL || file == NULL) {
        return 2;
    }
    size = (uint32_t)fread(image, 1, sizeof image, file);
    fclose(file);
    entry = (avr_flashaddr_t)strtoul(argv[2], NULL, 16);
    first = (avr_flashaddr_t)strtoul(argv[3], NULL, 16);
    behind = (avr_flashaddr_t)strtoul(argv[4], NULL, 16);
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr->run_cycle_limit = 1; /* one instruction per call of avr_run */
    avr_loadcode(avr, image, size, 0);
    avr_register_io_write(avr, REPORT_ADDRESS, reported, NULL);
    while (state != cpu_Done && state != cpu_Crashed) {
        if (inside && avr->pc >= first && avr->pc < behind) {
            inside = 0;
            printf("step %llu %lu\n", (unsigned long long)(avr->cycle - begin), instructions);
        } else if (!inside && avr->pc == entry) {
            inside = 1;
            begin = avr->cycle;
            instructions = 0;
        }
        instructions++;
        state = avr_run(avr);
    }
    return (state == cpu_Done) ? 0 : 1;
}
