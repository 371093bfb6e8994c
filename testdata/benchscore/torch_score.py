"""Scores a GRU 20→16→2 with torch on one core; prints time steps per second of processor time.

Usage: python3 torch_score.py SEQUENCES STEPS
"""

import sys
import time

import torch

sequences, steps = int(sys.argv[1]), int(sys.argv[2])
torch.set_num_threads(1)
torch.manual_seed(1)
gru = torch.nn.GRU(20, 16, batch_first=True)
head = torch.nn.Linear(16, 2)
x = torch.randn(sequences, steps, 20)
y = torch.randn(sequences, steps, 2)


def score():
    with torch.inference_mode():
        e = head(gru(x)[0]) - y
        return (e * e).sum((0, 1)), e.abs().sum((0, 1)), e.abs().amax((0, 1)), e.sum((0, 1))


for _ in range(3):
    score()
begin, rounds = time.process_time(), 0
while time.process_time() - begin < 1:
    score()
    rounds += 1
print(rounds * sequences * steps / (time.process_time() - begin))
