"""Writes adamw.npz: weights before, gradients and weights after each of 6 updates by
torch.optim.AdamW, in float64."""
import sys

import numpy as np
import torch

torch.manual_seed(601)
weights = torch.randn(7, dtype=torch.float64).requires_grad_(True)
rate, decay = 0.02, 0.1
optimiser = torch.optim.AdamW([weights], lr=rate, betas=(0.9, 0.999), eps=1e-8, weight_decay=decay)
out = {"start": weights.detach().numpy().copy(), "rate": np.float64(rate),
       "decay": np.float64(decay)}
gradients, after = [], []
for _ in range(6):
    scale = torch.tensor([1, 1, 1, 1e-3, 1e3, 1, 0], dtype=torch.float64)
    gradient = torch.randn(7, dtype=torch.float64) * scale
    weights.grad = gradient
    optimiser.step()
    gradients.append(gradient.numpy().copy())
    after.append(weights.detach().numpy().copy())
out["gradients"], out["after"] = np.array(gradients), np.array(after)
np.savez(sys.argv[1] + "/adamw.npz", **out)
