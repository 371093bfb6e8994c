#!/usr/bin/python3
"""Writes onnx_form_*.onnx and .npz: graphs around a recurrent layer in forms that users write,
exported and run by torch.

Usage: generate_onnx_forms.py OUTDIR. Needs Debian's python3-torch and python3-numpy.
"""
import io
import sys

import numpy
import torch
from torch import nn

I, H, O, T = 5, 7, 2, 12  # inputs, hidden, outputs, steps


class Base(nn.Module):
    def __init__(self, cell=nn.GRU, layers=1, **options):
        super().__init__()
        self.rnn = cell(I, H, layers, batch_first=True, **options)
        self.head = nn.Linear(H, O)
        self.register_buffer("mean", torch.tensor([10.0, -3.0, 0.5, 200.0, 0.0]))
        self.register_buffer("std", torch.tensor([4.0, 0.25, 1.5, 30.0, 1.0]))


class SubDiv(Base):
    """Normalisation as (x - mean) / std; output in physical units."""

    def forward(self, x):
        y, _ = self.rnn((x - self.mean) / self.std)
        return self.head(y) * torch.tensor([3.0, 0.5]) + torch.tensor([20.0, -1.0])


class MulAdd(Base):
    """Normalisation as x * scale + offset, one number for all features before it."""

    def forward(self, x):
        y, _ = self.rnn((0.5 * x) * (1 / self.std) + 0.1)
        return torch.sigmoid(self.head(torch.relu(y)))


class Negative(Base):
    """A scale below 0, which is no standard deviation."""

    def forward(self, x):
        y, _ = self.rnn((self.mean - x) / self.std)
        return self.head(y)


class LastLayerState(Base):
    """h_n[-1] of a stack, then two layers and the scores of classes."""

    def __init__(self):
        super().__init__(nn.LSTM, 2)
        self.middle = nn.Linear(H, 6)
        self.head = nn.Linear(6, 3)

    def forward(self, x):
        _, (h, _) = self.rnn(x)
        return torch.softmax(self.head(torch.tanh(self.middle(h[-1]))), dim=-1)


class Flattened(Base):
    """Batch and steps merged for the dense layer, and apart again."""

    def forward(self, x):
        y, _ = self.rnn(x)
        flat = y.reshape(-1, H)
        return self.head(flat).reshape(x.shape[0], x.shape[1], O)


class Heads(Base):
    """Two heads side by side, each of two layers."""

    def __init__(self):
        super().__init__(nn.GRU, 2)
        self.a = nn.Sequential(nn.Linear(H, 4), nn.ReLU(), nn.Linear(4, 1))
        self.b = nn.Sequential(nn.Linear(H, 3), nn.ReLU(), nn.Linear(3, 1))

    def forward(self, x):
        y, _ = self.rnn(x)
        return torch.cat([self.a(y), self.b(y)], dim=-1)


class TwoOutputs(Heads):
    """The same as two outputs of the graph, of the last step."""

    def forward(self, x):
        y, _ = self.rnn(x)
        return self.a(y[:, -1]), self.b(y[:, -1])


class Chosen(Base):
    """Some features only, in another order; one output of two; states in and out of a stack."""

    def __init__(self):
        super().__init__(nn.GRU, 2)
        self.rnn = nn.GRU(3, H, 2, batch_first=True)

    def forward(self, x, h0):
        y, h = self.rnn(x[:, :, [4, 0, 2]], h0)
        return self.head(y)[:, :, 1:], h


class StepsFirst(Base):
    """Steps on the first axis, no transposing."""

    def __init__(self):
        super().__init__(nn.RNN, 3)
        self.rnn = nn.RNN(I, H, 3)

    def forward(self, x):
        y, h = self.rnn(x)
        return self.head(y)


class Between(Base):
    """A linear layer without activation between two recurrent ones; weights in float64, features
    cast to it."""

    def __init__(self):
        super().__init__()
        self.linear = nn.Linear(H, 4)
        self.second = nn.LSTM(4, H, batch_first=True)
        self.double()

    def forward(self, x):
        y, _ = self.rnn(x.double())
        y, _ = self.second(self.linear(y))
        return self.head(y).float()


class Columns(Base):
    """The head as matrix times columns, and the sum in front of it as a matrix of constants that
    torch folds."""

    def forward(self, x):
        y, _ = self.rnn(x)
        weight = (self.head.weight * 2.0 - 0.5) / 1.5
        return torch.matmul(weight, y.transpose(1, 2)).transpose(1, 2).flatten(0, 1)


class States(Base):
    """The states of two layers put together by hand, turned round, one of them taken; logarithms of
    shares."""

    def __init__(self):
        super().__init__()
        self.second = nn.GRU(H, H, batch_first=True)

    def forward(self, x):
        y, a = self.rnn(x)
        _, b = self.second(y)
        states = torch.cat([a, b], 0).transpose(0, 1)
        return torch.log_softmax(self.head(states[:, -1:].flatten(1)), dim=1), states


def physical(model, batch):
    x = torch.randn(batch, T, I)
    return x * model.std.float() + model.mean.float()


def write(out, name, seed, model_class, opset, batch=1, static=False):
    torch.manual_seed(seed)
    model = model_class().eval()
    with torch.no_grad():
        for p in model.parameters():
            p.mul_(2)  # out of the linear range of the gates
    x = physical(model, batch)
    arguments, names = (x,), ["input"]
    if model_class is Chosen:
        arguments, names = (x, torch.rand(2, batch, H) - 0.5), ["input", "h0"]
    if model_class is StepsFirst:
        arguments = (x.transpose(0, 1).contiguous(),)
    with torch.no_grad():
        results = model(*arguments)
    results = results if isinstance(results, tuple) else (results,)
    outputs = ["output", "second"][: len(results)]
    if model_class is Chosen:
        outputs = ["output", "h_final"]
    if model_class is States:
        outputs = ["output", "states"]
    axes = {} if static else {"input": {0: "batch", 1: "seq"}, "h0": {1: "batch"}}
    graph = io.BytesIO()
    torch.onnx.export(model, arguments, graph, opset_version=opset, input_names=names,
                      output_names=outputs,
                      dynamic_axes={k: v for k, v in axes.items() if k in names})
    with open(f"{out}/onnx_form_{name}.onnx", "wb") as f:
        f.write(graph.getvalue())
    arrays = dict(zip(names, arguments)) | dict(zip(outputs, results))
    if model_class is SubDiv or model_class is MulAdd:
        arrays |= {"mean": model.mean, "std": model.std}
    numpy.savez(f"{out}/onnx_form_{name}.npz", **{k: v.numpy() for k, v in arrays.items()})


if __name__ == "__main__":
    out = sys.argv[1]
    write(out, "sub_div", 601, SubDiv, 14, batch=3)
    write(out, "mul_add", 602, MulAdd, 9, static=True)
    write(out, "negative", 603, Negative, 16, batch=2)
    write(out, "last_layer_state", 604, LastLayerState, 11)
    write(out, "flattened", 605, Flattened, 13, batch=3)
    write(out, "heads", 606, Heads, 17)
    write(out, "two_outputs", 607, TwoOutputs, 12, static=True)
    write(out, "chosen", 608, Chosen, 15, batch=2)
    write(out, "between", 610, Between, 14, batch=2)
    write(out, "columns", 611, Columns, 11, static=True)
    write(out, "states", 612, States, 12, batch=3)
    write(out, "steps_first", 609, StepsFirst, 10)
