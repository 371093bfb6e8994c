; Start; the tracer stops at finished. RAM of the simulator holds zeros.
.section .vectors, "ax"
.globl start
start:
    clr r1
    ldi r28, lo8(STACK_TOP)
    ldi r29, hi8(STACK_TOP)
    out 0x3d, r28
    out 0x3e, r29
    call main
.globl finished
finished:
    rjmp finished

; The compiler asks for these; there is nothing to clear or to copy.
.globl __do_clear_bss
.globl __do_copy_data
.set __do_clear_bss, finished
.set __do_copy_data, finished
