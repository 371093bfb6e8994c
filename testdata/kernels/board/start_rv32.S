# Start; leaves the emulator by its test device.
.section .vectors, "ax"
.globl start
start:
    la sp, STACK_TOP
    call main
    li t0, 0x100000
    li t1, 0x5555
    sw t1, 0(t0)
1:  j 1b
