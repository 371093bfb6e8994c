"""Compiles an emitted network for a core and runs it, instruction by instruction."""
import os
import re
import subprocess

HERE = os.path.dirname(os.path.abspath(__file__))
BOARD = os.path.join(HERE, 'board')
OPTIMISE = ['-O2', '-std=c99']
STEPS = 2

# Flags are those of the profiles in targets/profiles, without floating point, which the step does not use.
# machine: of QEMU; code, ram, stack: its addresses.
QEMU_ARM = {'code': 0, 'ram': 0x20000000, 'stack': 0x20003ff0}
CORES = {
    'cortex-m0plus': dict(isa='armv6m', prefix='arm-none-eabi-', flags=['-mcpu=cortex-m0plus', '-mthumb'], machine='mps2-an385', **QEMU_ARM),
    'cortex-m3': dict(isa='armv7m', prefix='arm-none-eabi-', flags=['-mcpu=cortex-m3', '-mthumb'], machine='mps2-an385', **QEMU_ARM),
    'cortex-m4f': dict(isa='armv7em', prefix='arm-none-eabi-', flags=['-mcpu=cortex-m4', '-mthumb'], machine='mps2-an386', **QEMU_ARM),
    'cortex-m7': dict(isa='armv7em', prefix='arm-none-eabi-', flags=['-mcpu=cortex-m7', '-mthumb'], machine='mps2-an500', **QEMU_ARM),
    'cortex-m33': dict(isa='armv8m', prefix='arm-none-eabi-', flags=['-mcpu=cortex-m33', '-mthumb'], machine='mps2-an505',
                       code=0x10000000, ram=0x38000000, stack=0x38004000),
    'rv32imc': dict(isa='rv32imc', prefix='riscv64-unknown-elf-', flags=['-march=rv32imc', '-mabi=ilp32', '--specs=picolibc.specs'], machine='virt',
                    code=0x80000000, ram=0x80080000, stack=0x80100000),
    'avr8': dict(isa='avr', prefix='avr-', flags=['-mmcu=avr5'], machine='', code=0, ram=0x800100, stack=0x10ff),
}


def family(core):
    return {'avr': 'avr', 'rv32imc': 'rv32'}.get(CORES[core]['isa'], 'arm')


def call(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def compile_net(core, source, work):
    """Compiles net.c; the frames of its functions come to net.su beside it."""
    c = CORES[core]
    os.makedirs(work, exist_ok=True)
    obj = os.path.join(work, 'net.o')
    call(c['prefix'] + 'gcc', *OPTIMISE, '-gdwarf-4', '-fstack-usage', *c['flags'], '-c', os.path.join(source, 'net.c'), '-o', obj)
    return obj


def link(core, source, work):
    """Links net.o with a main that runs STEPS steps."""
    c = CORES[core]
    elf = os.path.join(work, 'net.elf')
    start = {'avr': 'start_avr.S', 'rv32': 'start_rv32.S', 'arm': 'start_arm.c'}[family(core)]
    where = [f'-Wl,--defsym=CODE={c["code"]},--defsym=RAM={c["ram"]}']
    where += [f'-Wl,--defsym=STACK_TOP={c["stack"]}'] if start.endswith('rv32.S') else [f'-DSTACK_TOP={c["stack"]}']
    call(c['prefix'] + 'gcc', '-O2', *c['flags'], '-nostartfiles', f'-DSTEPS={STEPS}', '-I' + source, *where,
         os.path.join(BOARD, 'main.c'), os.path.join(BOARD, start), os.path.join(work, 'net.o'),
         '-T', os.path.join(BOARD, 'memory.ld'), '-o', elf)
    return elf


def disassemble(core, elf):
    """Address to (mnemonic, operands, function), and each address to the one behind it."""
    code, function = {}, ''
    for line in call(CORES[core]['prefix'] + 'objdump', '-d', '-w', '--no-show-raw-insn', elf).splitlines():
        if m := re.match(r'[0-9a-f]+ <(.+)>:$', line):
            function = m.group(1)
        elif m := re.match(r'\s*([0-9a-f]+):\t(\S+)\s*(.*)$', line):
            code[int(m.group(1), 16)] = (m.group(2), m.group(3), function)
    order = sorted(code)
    return code, dict(zip(order, order[1:]))


def symbols(core, elf):
    """Name to address of every symbol."""
    return {f[2]: int(f[0], 16) for f in map(str.split, call(CORES[core]['prefix'] + 'nm', elf).splitlines()) if len(f) == 3}


def run_avr(elf, names, tracer):
    """Yields (address, cycle)."""
    process = subprocess.Popen([tracer, elf, hex(names['net_step']), hex(names['finished'])], stdout=subprocess.PIPE, text=True)
    for line in process.stdout:
        if line[0] == '@':
            address, _, cycle = line[1:].partition(' ')
            yield int(address, 16), int(cycle)
    if process.wait() != 0:
        raise RuntimeError(f'{elf}: the simulator stopped early')


def run_qemu(core, elf, work):
    """Yields (address, 0)."""
    fifo = os.path.join(work, 'trace')
    if os.path.exists(fifo):
        os.remove(fifo)
    os.mkfifo(fifo)
    emulator = ['qemu-system-riscv32', '-bios', 'none'] if family(core) == 'rv32' else ['qemu-system-arm', '-semihosting']
    process = subprocess.Popen(['timeout', '120', *emulator, '-M', CORES[core]['machine'], '-nographic', '-monitor', 'none', '-serial', 'null',
                                '-kernel', elf, '-singlestep', '-d', 'exec,nochain', '-D', fifo],
                               stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    with open(fifo) as trace:
        for line in trace:
            if line.startswith('Trace'):
                yield int(line.split('/', 2)[1], 16), 0
    process.wait()
