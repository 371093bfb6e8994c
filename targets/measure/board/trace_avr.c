/* trace_avr IMAGE ENTRIES FIRST BEHIND [NAME START END]...: runs a flat image on an
 * ATmega1284P and prints, for every call of one of ENTRIES, which commas separate,
 * "call ENTRY CYCLES INSTRUCTIONS" until control is back between FIRST and BEHIND,
 * with the number of the entry from 0 on, and behind it "function NAME CYCLES" for
 * every named function that ran, with what it calls and is not named; and what the
 * program reports. Addresses are hexadecimal, in bytes. */
#include <simavr/sim_avr.h>
#include <simavr/sim_io.h>
#include <stdio.h>
#include <stdlib.h>

#define REPORT_ADDRESS 0x3e /* as board_put in board.h */

static uint8_t image[0x20000];

#define MOST_FUNCTIONS 64
#define MOST_ENTRIES 8

static struct {
    const char *name;
    avr_flashaddr_t start, end;
    avr_cycle_count_t cycles;
} functions[MOST_FUNCTIONS];

static void reported(struct avr_t *avr, avr_io_addr_t address, uint8_t value, void *unused)
{
    (void)unused;
    avr->data[address] = value;
    putchar(value);
}

int main(int argc, char **argv)
{
    avr_t *avr = avr_make_mcu_by_name("atmega1284p");
    FILE *file = (argc >= 5 && argc <= 5 + (3 * MOST_FUNCTIONS)) ? fopen(argv[1], "rb") : NULL;
    avr_flashaddr_t entries[MOST_ENTRIES], first, behind;
    int entry_count = 0;
    int entry = 0;
    char *rest;
    avr_cycle_count_t begin = 0;
    unsigned long instructions = 0;
    int inside = 0;
    int state = cpu_Running;
    int count = (argc - 5) / 3;
    int running = -1;
    int f;
    uint32_t size;

    if (avr == NULL || file == NULL) {
        return 2;
    }
    size = (uint32_t)fread(image, 1, sizeof image, file);
    fclose(file);
    for (rest = argv[2]; *rest != '\0' && entry_count < MOST_ENTRIES; rest += (*rest == ',')) {
        entries[entry_count++] = (avr_flashaddr_t)strtoul(rest, &rest, 16);
    }
    first = (avr_flashaddr_t)strtoul(argv[3], NULL, 16);
    behind = (avr_flashaddr_t)strtoul(argv[4], NULL, 16);
    for (f = 0; f < count; f++) {
        functions[f].name = argv[5 + (3 * f)];
        functions[f].start = (avr_flashaddr_t)strtoul(argv[6 + (3 * f)], NULL, 16);
        functions[f].end = (avr_flashaddr_t)strtoul(argv[7 + (3 * f)], NULL, 16);
    }
    avr_init(avr);
    avr->log = LOG_ERROR;
    avr->run_cycle_limit = 1; /* one instruction per call of avr_run */
    avr_loadcode(avr, image, size, 0);
    avr_register_io_write(avr, REPORT_ADDRESS, reported, NULL);
    while (state != cpu_Done && state != cpu_Crashed) {
        const avr_cycle_count_t before = avr->cycle;

        if (inside && avr->pc >= first && avr->pc < behind) {
            inside = 0;
            printf("call %d %llu %lu\n", entry, (unsigned long long)(avr->cycle - begin),
                   instructions);
            for (f = 0; f < count; f++) {
                if (functions[f].cycles > 0) {
                    printf("function %s %llu\n", functions[f].name,
                           (unsigned long long)functions[f].cycles);
                }
                functions[f].cycles = 0;
            }
        }
        for (f = 0; !inside && f < entry_count; f++) {
            if (avr->pc == entries[f]) {
                inside = 1;
                entry = f;
                begin = avr->cycle;
                instructions = 0;
                running = -1;
            }
        }
        if (running < 0 || avr->pc < functions[running].start ||
            avr->pc >= functions[running].end) {
            for (f = 0; f < count; f++) {
                if (avr->pc >= functions[f].start && avr->pc < functions[f].end) {
                    running = f;
                }
            }
        }
        instructions++;
        state = avr_run(avr);
        if (inside && running >= 0) {
            functions[running].cycles += avr->cycle - before;
        }
    }
    return (state == cpu_Done) ? 0 : 1;
}
