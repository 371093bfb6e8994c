"""Reads the recordings of kerf's demo job, which are invented and synthetic."""

import csv
import gzip
from collections import namedtuple

import numpy as np

OUTPUT_UNITS = {"leakage": "L/min", "air": "% by volume"}
OUTPUTS = list(OUTPUT_UNITS)
UNITS = {"level": "bar", "slope": "bar/s", "ripple_amplitude": "bar", "ripple_phase": "rad",
         "second_harmonic": "bar", "distortion": "%"}
# How a feature follows from the samples of a window, in the words of features.csv.
COMPUTED = {"level": "level", "slope": "slope", "ripple_amplitude": "amplitude(1)",
            "ripple_phase": "phase(1)", "second_harmonic": "amplitude(2)",
            "distortion": "distortion(5)"}

# x: [step, feature], y: [step, output], both in physical units and float64.
Sequence = namedtuple("Sequence", "name scenario x y")


def read_recordings(path):
    """Returns the sequences in file order, and the names of features and outputs in column
    order."""
    opener = gzip.open if path.suffix == ".gz" else open
    with opener(path, "rt", newline="") as file:
        rows = csv.reader(file)
        header = next(rows)
        assert header[:3] == ["sequence", "scenario", "t"] and header[-2:] == OUTPUTS, header
        groups = {}
        for row in rows:
            groups.setdefault((row[0], row[1]), []).append(row[3:])
    sequences = []
    for (name, scenario), lines in groups.items():
        table = np.array(lines, np.float64)
        sequences.append(Sequence(name, scenario, table[:, :-2], table[:, -2:]))
    return sequences, header[3:-2], OUTPUTS
