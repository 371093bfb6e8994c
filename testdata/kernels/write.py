"""Writes what was fitted and measured, and prints how far the fit is off."""
import csv
import os
import tomllib

import emulate
import fit

HEAD = '''# Instruction counts, code size and stack of the emitted C, by instruction set. Made by `make kernels`; do not edit.
# How they were measured says testdata/kernels/README.md. All figures are of the integer inference: reset and step.
#
# kernel: instructions of one run of a kernel, by instruction class (see package targets). Which kernels a step runs,
# and how often, says cycleParts in cost.go. Fractions: a branch goes both ways, and the figures are fitted to many networks.
# code_bytes: see codeParts in kernels.go. Memory copy and fill of the C library are not included; the multiplication
# routines of avr are.
# stack_bytes: from the entry of step to the deepest call, above the arrays whose size depends on the network;
# see stackBytes in kernels.go.
'''


def number(v):
    return f'{v:.2f}'.rstrip('0').rstrip('.')


def compiler(cores):
    version = emulate.call(emulate.CORES[cores[0]]['prefix'] + 'gcc', '-dumpversion').strip()
    flags = ' or '.join(' '.join(f for f in emulate.CORES[c]['flags'] if not f.startswith('--specs')) for c in cores)
    return f'GCC {version} {" ".join(emulate.OPTIMISE)} {flags}'


def table(runs):
    """The text of kernels.toml, and the fitted figures by instruction set."""
    text, fitted = HEAD, {}
    for isa in dict.fromkeys(c['isa'] for c in emulate.CORES.values()):
        cores = [name for name, c in emulate.CORES.items() if c['isa'] == isa]
        seen = [r for r in runs if r['core'] in cores and not r['sample']['held']]
        kernels, code, stack = fit.fit_kernels(seen), fit.fit_code(seen), fit.fit_stack(seen)
        fitted[isa] = kernels, code, stack
        text += f'\n[{isa}]\ncompiler = "{compiler(cores)}"\n'
        text += f'counted = "executed instruction by instruction in {"simavr" if isa == "avr" else "QEMU"}"\n'
        for name, values in (('code_bytes', code), ('stack_bytes', stack)):
            text += f'\n[{isa}.{name}]\n' + ''.join(f'{k} = {v}\n' for k, v in values.items())
        text += f'\n[{isa}.kernel]\n'
        for k, counts in kernels.items():
            text += f'{k} = {{ ' + ', '.join(f'{c} = {number(counts[c])}' for c in fit.CLASSES if c in counts) + ' }\n'
    return text, fitted


def shape(sample):
    """A network in two words, as the test reads it."""
    layers = ';'.join(f'{l["kind"]}:{l["units"]}:{l["input_bits"]}:{l["recurrent_bits"]}:{l["state_bits"]}' for l in sample['layers'])
    dense = ';'.join(f'{d["outputs"]}:{d["activation"]}:{d["bits"]}' for d in sample['dense'])
    return layers, dense


def counted(run):
    return sum(n for counts in run['parts'].values() for n in counts.values())


def measured(path, runs):
    """The networks that had no part in the fit."""
    with open(path, 'w', newline='') as f:
        out = csv.writer(f, lineterminator='\n')
        out.writerow(['profile', 'features', 'layers', 'dense', 'counts', 'cycles', 'code_bytes', 'stack_bytes'])
        for r in runs:
            if r['sample']['held']:
                out.writerow([r['core'], r['sample']['features'], *shape(r['sample']), number(counted(r)), number(r['cycles']) if r['cycles'] else '', r['code'], r['stack']])


def profile_costs(root, core):
    with open(os.path.join(root, 'targets', 'profiles', core + '.toml'), 'rb') as f:
        return {c: v['cycles'] for c, v in tomllib.load(f)['cost'].items()}


def errors(root, runs, fitted):
    """Prints, per core, the range of estimate/measured and the networks that are furthest off."""
    for held in (False, True):
        print(f'\n{"held out" if held else "fitted"}: cycles in %, code in bytes, stack bound above the deepest chain in bytes')
        for core, c in emulate.CORES.items():
            kernels, code, stack = fitted[c['isa']]
            costs = profile_costs(root, core)
            rows = []
            for r in runs:
                if r['core'] != core or r['sample']['held'] != held:
                    continue
                cycles = sum(n * costs.get(k, 0) for counts in r['parts'].values() for k, n in counts.items())
                rows.append((100 * (fit.estimate(kernels, r['sample'], costs) / cycles - 1),
                             sum(code.get(n, 0) * t for n, t in fit.code_parts(r['sample']).items()) - r['code'],
                             fit.stack_bound(stack, r['sample']) - r['stack'], ' '.join((str(r['sample']['features']), *shape(r['sample'])))))
            spans = '  '.join(f'{label} {min(x[i] for x in rows):+.0f}..{max(x[i] for x in rows):+.0f}' for i, label in enumerate(('cycles', 'code', 'stack')))
            beyond = sum(abs(x[0]) > 10 for x in rows)
            print(f'{core:14} {spans}  more than 10 % off: {beyond} of {len(rows)}')
            for x in sorted(rows, key=lambda x: -abs(x[0]))[:beyond]:
                print(f'{"":14} {x[0]:+.0f} % {x[3]}')
