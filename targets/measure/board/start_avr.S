; Start of an 8-bit core. RAM of the simulator holds zeros; initialised data are
; copied here. The core ends asleep with interrupts off.
#if defined(__AVR_3_BYTE_PC__)
#error "the emulated 8-bit core has a 16-bit program counter"
#endif
.section .vectors, "ax"
.globl start
start:
    clr r1
    ldi r28, lo8(STACK_TOP)
    ldi r29, hi8(STACK_TOP)
    out 0x3d, r28
    out 0x3e, r29
    ldi r26, lo8(data_start)
    ldi r27, hi8(data_start)
    ldi r30, lo8(data_load)
    ldi r31, hi8(data_load)
    rjmp 2f
1:  lpm r0, Z+
    st X+, r0
2:  ldi r18, hi8(data_end)
    cpi r26, lo8(data_end)
    cpc r27, r18
    brne 1b
    call main
    cli
    ldi r18, 1
    out 0x33, r18 ; sleep enabled (SMCR of an ATmega1284P)
    sleep

; The compiler asks for these; the lines above do their work.
.globl __do_clear_bss
.globl __do_copy_data
.set __do_clear_bss, start
.set __do_copy_data, start
