"""Measures the emitted C and writes budget/kernels.toml and testdata/kernels/measured.csv. See README.md."""
import argparse
import json
import multiprocessing
import os
import subprocess
import sys

sys.dont_write_bytecode = True  # no cache folder in the repository

import attribute
import emulate
import sizes
import write

ROOT = os.path.dirname(os.path.dirname(emulate.HERE))


def measure(job):
    """One network on one core."""
    core, sample, work = job
    source = os.path.join(work, 'emitted', sample['name'])
    place = os.path.join(work, core, sample['name'])
    emulate.compile_net(core, source, place)
    emulate.link(core, source, place)
    parts, instructions, cycles = attribute.trace(core, sample, source, place, os.path.join(work, 'trace_avr'))
    return dict(core=core, sample=sample, parts={k: dict(v) for k, v in parts.items()}, instructions=instructions, cycles=cycles,
                code=sizes.code_bytes(core, place), stack=sizes.stack_bytes(core, place))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument('--work', default='/tmp/kerf-kernels', help='scratch folder')
    work = parser.parse_args().work
    os.makedirs(work, exist_ok=True)
    subprocess.run(['go', 'run', './testdata/kernels/emit', '-out', os.path.join(work, 'emitted')], cwd=ROOT, check=True)
    subprocess.run(['gcc', '-O2', os.path.join(emulate.BOARD, 'trace_avr.c'), '-o', os.path.join(work, 'trace_avr'), '-lsimavr', '-lelf'], check=True)
    with open(os.path.join(work, 'emitted', 'index.json')) as f:
        samples = json.load(f)
    with multiprocessing.Pool() as pool:
        runs = pool.map(measure, [(core, s, work) for core in emulate.CORES for s in samples], chunksize=4)
    text, fitted = write.table(runs)
    with open(os.path.join(ROOT, 'budget', 'kernels.toml'), 'w') as f:
        f.write(text)
    write.measured(os.path.join(emulate.HERE, 'measured.csv'), runs)
    write.errors(ROOT, runs, fitted)


if __name__ == '__main__':
    main()
