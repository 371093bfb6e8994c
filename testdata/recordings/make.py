#!/usr/bin/python3
"""Writes selection.csv.gz and selection.npz from ../cityweather/selection.csv, beside this file.

Needs Debian's python3-numpy.
"""
import csv
import gzip
import os

import numpy

here = os.path.dirname(os.path.abspath(__file__))
with open(f"{here}/../cityweather/selection.csv", newline="") as f:
    text = f.read()
rows = list(csv.DictReader(text.splitlines()))
columns = {}
for name in rows[0]:
    values = [r[name] for r in rows]
    try:
        columns[name] = numpy.array([float(v) for v in values])
    except ValueError:
        columns[name] = numpy.array(values)
# An order of bytes that is not the machine's.
columns["sequence"] = columns["sequence"].astype(">i4")
columns["t"] = columns["t"].astype(numpy.uint8)
numpy.savez_compressed(f"{here}/selection.npz", **columns)
with (open(f"{here}/selection.csv.gz", "wb") as f,
      gzip.GzipFile("", "wb", mtime=0, fileobj=f) as packed):
    packed.write(text.encode())
