/* The trap flag of an x86 processor stops after every instruction (Intel 64 and IA-32 manual,
 * volume 3, single-step exception); the signal of the instruction that is chosen interrupts. */
#define _GNU_SOURCE
#include "interrupt.h"
#include <signal.h>
#include <string.h>
#include <ucontext.h>

#define TRAP_FLAG 0x100

const uint16_t interrupt_again = 50;

static volatile uint32_t left;

static void trapped(int number, siginfo_t *info, void *context)
{
    ucontext_t *at = context;

    (void)number;
    (void)info;
    if (left > 0U) {
        left--;
        return;
    }
#if defined(__x86_64__)
    if (interrupt_taken((uintptr_t)at->uc_mcontext.gregs[REG_RIP]) == 0) {
#else
    if (interrupt_taken((uintptr_t)at->uc_mcontext.gregs[REG_EIP]) == 0) {
#endif
        at->uc_mcontext.gregs[REG_EFL] &= ~TRAP_FLAG;
    }
    left = interrupt_again - 1U;
}

void interrupt_at(uint32_t instants)
{
    struct sigaction action;

    memset(&action, 0, sizeof action);
    action.sa_sigaction = trapped;
    action.sa_flags = SA_SIGINFO;
    sigaction(SIGTRAP, &action, NULL);
    left = instants;
#if defined(__x86_64__)
    __asm__ volatile("sub $128, %%rsp\n\tpushfq\n\torl $0x100, (%%rsp)\n\tpopfq\n\t"
                     "lea 128(%%rsp), %%rsp" : : : "cc", "memory");
#else
    __asm__ volatile("pushfl\n\torl $0x100, (%%esp)\n\tpopfl" : : : "cc", "memory");
#endif
}
