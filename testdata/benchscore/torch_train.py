"""Trains a GRU 20→16→2 with torch on one core: sequences of 480 steps side by side, in segments of 30
steps, the state carried on, Adam, gradients clipped; prints time steps per second of processor
time.

Usage: python3 torch_train.py SEQUENCES
"""

import sys
import time

import torch

sequences, steps, length = int(sys.argv[1]), 480, 30
torch.set_num_threads(1)
torch.manual_seed(1)
gru = torch.nn.GRU(20, 16, batch_first=True)
head = torch.nn.Linear(16, 2)
weights = list(gru.parameters()) + list(head.parameters())
adam = torch.optim.Adam(weights, lr=0.001)
x = torch.randn(sequences, steps, 20)
y = torch.randn(sequences, steps, 2)


def train():
    state = torch.zeros(1, sequences, 16)
    for at in range(0, steps, length):
        adam.zero_grad()
        h, state = gru(x[:, at : at + length], state.detach())
        torch.nn.functional.mse_loss(head(h), y[:, at : at + length]).backward()
        torch.nn.utils.clip_grad_norm_(weights, 1.0)
        adam.step()


for _ in range(3):
    train()
begin, rounds = time.process_time(), 0
while time.process_time() - begin < 2:
    train()
    rounds += 1
print(rounds * sequences * steps / (time.process_time() - begin))
