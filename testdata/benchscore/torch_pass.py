"""Runs a GRU with a linear layer of two outputs forward with torch on one core; prints the seconds
of processor time of the fastest of five runs over all steps.

Usage: python3 torch_pass.py FEATURES UNITS STEPS
"""

import sys
import time

import torch

features, units, steps = (int(a) for a in sys.argv[1:4])
torch.set_num_threads(1)
torch.manual_seed(1)
gru = torch.nn.GRU(features, units, batch_first=True)
head = torch.nn.Linear(units, 2)
x = torch.randn(steps // 1500, 1500, features)
seconds = []
for _ in range(5):
    begin = time.process_time()
    with torch.inference_mode():
        head(gru(x)[0])
    seconds.append(time.process_time() - begin)
print(min(seconds))
