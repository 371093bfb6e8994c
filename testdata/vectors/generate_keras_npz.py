#!/usr/bin/python3
"""Writes keras_*.npz beside keras_*.json: the weights alone, as numpy.savez(file,
*model.get_weights()) stores them.

Usage: generate_keras_npz.py DIR. Needs Debian's python3-numpy.
"""
import glob
import json
import sys

import numpy

# The order of get_weights().
ORDER = ["rnn/kernel", "rnn/recurrent_kernel", "rnn/bias", "dense/kernel", "dense/bias"]

for path in glob.glob(f"{sys.argv[1]}/keras_*.json"):
    with open(path) as f:
        weights = json.load(f)["weights"]
    arrays = [numpy.array(weights[n]["data"], numpy.float32).reshape(weights[n]["shape"])
              for n in ORDER]
    numpy.savez(path.replace(".json", ".npz"), *arrays)
