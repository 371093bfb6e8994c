"""Code and stack of a compiled and linked network."""
import os
import re

import emulate

OURS = re.compile(r'net_|main$|start$|finished$|__do_')


def code_bytes(core, work):
    """Bytes of .text of net.o; on avr with the multiplication routines of the compiler's library."""
    prefix = emulate.CORES[core]['prefix']
    total = int(re.search(r'^\.text\s+(\d+)', emulate.call(prefix + 'size', '-A', os.path.join(work, 'net.o')), re.M).group(1))
    if core == 'avr8':
        code, following = emulate.disassemble(core, os.path.join(work, 'net.elf'))
        total += sum(following.get(a, a + 2) - a for a, (_, _, f) in code.items() if not OURS.match(f) and f.startswith('__'))
    return total


def frames(core, work, functions):
    """Bytes of stack of each function: of ours by -fstack-usage, of library routines by their pushes."""
    sizes = {}
    with open(os.path.join(work, 'net.su')) as f:
        for line in f:
            place, size, _ = line.split('\t')
            sizes[place.rsplit(':', 1)[1]] = int(size)
    for name, code in functions.items():
        if name in sizes:
            continue
        size = 2 if core == 'avr8' else 0  # return address
        for mnemonic, operands in code:
            if mnemonic.startswith('push') and core == 'avr8':
                size += 1
            elif mnemonic.startswith('push') or (mnemonic.startswith('stmdb') and operands.startswith('sp!')):
                size += 4 * re.search(r'\{(.*?)\}', operands).group(1).count(',') + 4
            elif m := re.match(r'sp,\s*(?:sp,\s*)?-(\d+)$', operands):
                size += int(m.group(1))
        sizes[name] = size
    return sizes


def stack_bytes(core, work):
    """The deepest chain of calls from net_step, in bytes."""
    functions = {}
    for _, (mnemonic, operands, name) in sorted(emulate.disassemble(core, os.path.join(work, 'net.elf'))[0].items()):
        functions.setdefault(name, []).append((mnemonic, operands))
    size = frames(core, work, functions)

    def deepest(name):
        callees = {m.group(1) for _, operands in functions[name] if (m := re.search(r'<([\w.]+)(?:\+0x[0-9a-f]+)?>', operands))}
        return size[name] + max((deepest(c) for c in callees if c != name and c in functions), default=0)

    return deepest('net_step')
