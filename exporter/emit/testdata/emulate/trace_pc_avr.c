/* trace_pc_avr PROGRAM ENTRY CALL FIRST BEHIND: prints the address of every instruction that call
 * number CALL of the function at ENTRY executes on a simulated ATmega1284P, until control is back
 * between FIRST and BEHIND. Addresses are hexadecimal, in bytes. */
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int main(int argc, char **argv)
{
    avr_t *avr = avr_make_mcu_by_name("atmega1284p");
    elf_firmware_t program;
    avr_flashaddr_t entry, first, behind;
    long call;
    int inside = 0;

    memset(&program, 0, sizeof program);
    if (avr == NULL || argc != 6 || elf_read_firmware(argv[1], &program) != 0) {
        return 2;
    }
    entry = (avr_flashaddr_t)strtoul(argv[2], NULL, 16);
    call = strtol(argv[3], NULL, 10);
    first = (avr_flashaddr_t)strtoul(argv[4], NULL, 16);
    behind = (avr_flashaddr_t)strtoul(argv[5], NULL, 16);
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr_load_firmware(avr, &program);
    avr->frequency = 16000000;
    avr->run_cycle_limit = 1; /* one instruction per call of avr_run */
    for (;;) {
        int state;

        if (inside && avr->pc >= first && avr->pc < behind) {
            return 0;
        }
        if (!inside && avr->pc == entry) {
            call--;
            inside = call == 0;
        }
        if (inside) {
            printf("executed %lx\n", (unsigned long)avr->pc);
        }
        state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            return 1;
        }
    }
}
