"""Gives every executed instruction to a part of the network: ('step', '') for net_step itself,
('input', layer) and ('recurrent', layer) for the rows of gate matrices, ('unit', layer) for the
rest of a recurrent layer, ('dense', layer) for a dense layer. Layers are named as in the C: l0, d0, head."""
import collections
import os
import re

import classes
import emulate

LAYER = re.compile(r'net_([ld]\d+|head)_')
INPUT = re.compile(r'net_l\d+_(in|x_\w+)$')
RECURRENT = re.compile(r'net_l\d+_(re|h_\w+)$')
DEFINITION = re.compile(r'(?:static .*?|void )(net_\w+)\(')
TWO_LOADS = re.compile(r'[*+] v\[')  # a weight and what it is multiplied with


class Source:
    """Lines of net.c and the functions that they belong to."""

    def __init__(self, path):
        with open(path) as f:
            self.lines = [''] + f.read().splitlines()
        self.function, name = [], ''
        for line in self.lines:
            if m := DEFINITION.match(line):
                name = m.group(1)
            self.function.append(name)

    def flash(self, number):
        """Share of constants among the values that a line loads."""
        line = self.lines[number]
        if 'NET_ROM' not in line:
            return 0
        return 0.5 if TWO_LOADS.search(line) else 1


def inline_chains(core, elf, addresses):
    """Address to line numbers of net.c, innermost inlined function first."""
    chains, at = {}, 0
    out = emulate.call(emulate.CORES[core]['prefix'] + 'addr2line', '-a', '-f', '-i', '-s', '-e', elf, *map(hex, addresses)).splitlines()
    i = 0
    while i < len(out):
        if out[i].startswith('0x'):
            at = int(out[i], 16)
            chains[at] = []
            i += 1
            continue
        file, _, line = out[i + 1].split(' ')[0].rpartition(':')
        if file == 'net.c' and line.isdigit() and int(line) > 0:
            chains[at].append(int(line))
        i += 2
    return chains


class Places:
    """The part of each address; None where it is the caller's."""

    def __init__(self, core, elf, source):
        self.core, self.elf, self.source = core, elf, source
        self.code, self.next = emulate.disassemble(core, elf)
        own = sorted(a for a, (_, _, f) in self.code.items() if f.startswith('net_') and f != 'net_reset')
        self.chains = inline_chains(core, elf, own)
        self.parts = {a: self.part(a) for a in own}

    def part(self, address):
        function = self.code[address][2].split('.')[0]
        names = [self.source.function[n] for n in self.chains[address]] + [function]
        layer = next((m.group(1) for m in map(LAYER.match, names) if m), None)
        if layer is None:
            return ('step', '') if function == 'net_step' else None
        if layer[0] != 'l':
            return 'dense', layer
        if any(map(INPUT.match, names)):
            return 'input', layer
        return ('recurrent' if any(map(RECURRENT.match, names)) else 'unit'), layer


def trace(core, sample, source_dir, work, tracer):
    """Runs a network. Returns {part: {class: count per step}}, executed instructions per step
    and, from the simulator's counter, cycles per step (0 without one)."""
    source = Source(os.path.join(source_dir, 'net.c'))
    elf = os.path.join(work, 'net.elf')
    places = Places(core, elf, source)
    code, following = places.code, places.next
    names = emulate.symbols(core, elf)
    entry = names['net_step'] & ~1
    main = {a for a, c in code.items() if c[2] == 'main'}
    run = emulate.run_avr(elf, names, tracer) if core == 'avr8' else emulate.run_qemu(core, elf, work)

    counts = collections.Counter()
    inside, steps, cycles, started = False, 0, 0, 0
    current, before, part = None, None, ('step', '')
    for pc, cycle in run:
        if inside:
            chained = before is not None and following.get(before) == current and classes.is_load(code[before][0])
            counts[part, current, following.get(current) != pc, chained] += 1
            before = current
        if pc == entry:
            inside, before, started = True, None, cycle
            steps += 1
        elif inside and pc in main:
            inside = False
            cycles += cycle - started
        if inside:
            current = pc
            part = places.parts.get(pc) or part  # a shared or library function belongs to its caller
    if steps != emulate.STEPS:
        raise RuntimeError(f'{core}, {sample["name"]}: {steps} steps ran instead of {emulate.STEPS}')

    parts = collections.defaultdict(collections.Counter)
    for (part, pc, taken, chained), n in counts.items():
        mnemonic, operands, _ = code[pc]
        # Loads that write back their address do not chain there: note of load_next in targets/profiles/cortex-m3.toml.
        if core == 'cortex-m3' and ('!' in operands or '], #' in operands):
            chained = False
        flash = source.flash(places.chains[pc][0]) if places.chains.get(pc) else 0
        for name, times in classes.classify(emulate.family(core), mnemonic, operands, taken, chained, flash).items():
            parts[part][name] += times * n / steps
    return parts, sum(counts.values()) / steps, cycles / steps
