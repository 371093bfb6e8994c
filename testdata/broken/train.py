"""Trains two further networks for the recordings of kerf's demo job, which are invented and
synthetic.

    go run ./testdata/demo/generate -out WORK
    /usr/bin/python3 testdata/broken/train.py WORK testdata/broken

WORK holds train.csv, selection.csv.gz and signoff.csv.gz. Writes features.csv, outputs.csv,
model.safetensors and float_errors.csv into the folders lstm and elman. Only train.csv trains; the
other two are read last, for the errors.
"""

import math
import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "demo"))
from recordings import OUTPUT_UNITS, read_recordings  # noqa: E402
from train import pad, write_features, write_safetensors  # noqa: E402

SEED = 11
EPOCHS = 240
BATCH = 20  # sequences
RATE = 1e-2  # of Adam, falls to 0 along a half cosine

LSTM_FEATURES = ["supply_level", "supply_slope", "supply_ripple_phase", "return_level",
                 "return_ripple_amplitude", "return_ripple_phase", "return_distortion",
                 "case_drain_level", "case_drain_ripple_amplitude", "oil_temperature"]
ELMAN_FEATURES = ["supply_level", "supply_slope", "return_ripple_amplitude", "return_ripple_phase",
                  "return_distortion", "case_drain_level", "case_drain_ripple_amplitude",
                  "oil_temperature"]


class LSTM(nn.Module):
    """LSTM, dense with ReLU, dense with tanh, dense: three square matrices, and two dense layers of
    one shape."""
    units = 10

    def __init__(self, n_features, n_outputs):
        super().__init__()
        self.lstm = nn.LSTM(n_features, self.units, batch_first=True)
        self.first = nn.Linear(self.units, self.units)
        self.second = nn.Linear(self.units, self.units)
        self.head = nn.Linear(self.units, n_outputs)
        with torch.no_grad():
            # Rows of torch's LSTM: input, forget, cell, output. Some forget gates start near 1, as
            # the update gates of the demo do: sigmoid(log(T-1)) remembers T steps.
            slow = torch.log(torch.linspace(50, 600, self.units // 2) - 1)
            self.lstm.bias_hh_l0.zero_()
            self.lstm.bias_ih_l0[self.units:self.units + self.units // 2] = slow
            self.lstm.bias_ih_l0[:self.units // 2] = -slow  # what enters a slow cell is little

    def forward(self, x):
        h, _ = self.lstm(x)
        return self.head(torch.tanh(self.second(torch.relu(self.first(h)))))


class Elman(nn.Module):
    """Elman layer with tanh, dense."""
    units = 12

    def __init__(self, n_features, n_outputs):
        super().__init__()
        self.rnn = nn.RNN(n_features, self.units, batch_first=True, nonlinearity="tanh")
        self.head = nn.Linear(self.units, n_outputs)
        with torch.no_grad():
            # Half of the units start as leaky integrators: 1 - 1/T on the diagonal remembers T
            # steps.
            self.rnn.weight_hh_l0.mul_(0.1)
            self.rnn.weight_ih_l0.mul_(0.2)
            kept = torch.cat([1 - 1 / torch.linspace(20, 300, self.units // 2),
                              torch.zeros(self.units - self.units // 2)])
            self.rnn.weight_hh_l0.diagonal().copy_(kept)

    def forward(self, x):
        h, _ = self.rnn(x)
        return self.head(h)


def train(net, x, y, mask):
    optimiser = torch.optim.Adam(net.parameters(), lr=RATE)
    steps = EPOCHS * math.ceil(len(x) / BATCH)
    schedule = torch.optim.lr_scheduler.LambdaLR(
        optimiser, lambda k: 0.5 * (1 + math.cos(math.pi * k / steps)))
    began = time.time()
    for epoch in range(EPOCHS):
        total = 0.0
        for pick in torch.randperm(len(x)).split(BATCH):
            error = (net(x[pick]) - y[pick]) * mask[pick]
            loss = error.square().sum() / mask[pick].sum() / y.shape[2]
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += loss.item() * len(pick)
        if epoch % 20 == 19:
            print(f"epoch {epoch + 1}: loss {total / len(x):.5f}, {time.time() - began:.0f} s",
                  flush=True)


def errors(net, x, y, mask, y_std):
    """RMSE per output in its unit, and the share of the variance that the network explains."""
    with torch.no_grad():
        error = ((net(x) - y) * mask).double().square().sum(dim=(0, 1))
    steps = mask.double().sum()
    mean = (y * mask).double().sum(dim=(0, 1)) / steps
    spread = ((y - mean) * mask).double().square().sum(dim=(0, 1))
    return (error / steps).sqrt().numpy() * y_std, (1 - error / spread).numpy()


def columns(sequences, names, wanted):
    at = [names.index(w) for w in wanted]
    return [s._replace(x=s.x[:, at]) for s in sequences]


def make(kind, wanted, work, out, physical_head):
    """Trains one network and writes its files. With physical_head the scale of the outputs goes
    into the last layer."""
    torch.manual_seed(SEED)
    sequences, names, outputs = read_recordings(work / "train.csv")
    sequences = columns(sequences, names, wanted)
    x_all = np.concatenate([s.x for s in sequences])
    y_all = np.concatenate([s.y for s in sequences])
    # The printed digits are the normalisation: round first, then train.
    norm = [np.array([float(f"{v:.9g}") for v in a])
            for a in (x_all.mean(0), x_all.std(0), y_all.mean(0), y_all.std(0))]
    net = kind(len(wanted), len(outputs))
    train(net, *pad(sequences, *norm))

    lines = ["output,set,rmse,explained\n"]
    for name in "selection.csv.gz", "signoff.csv.gz":
        judged, _, _ = read_recordings(work / name)
        rmse, explained = errors(net, *pad(columns(judged, names, wanted), *norm), norm[3])
        for o, output in enumerate(outputs):
            lines.append(f"{output},{name.split('.')[0]},{rmse[o]:.6g},{explained[o]:.4f}\n")
    print("".join(lines), flush=True)

    out.mkdir(parents=True, exist_ok=True)
    (out / "float_errors.csv").write_text("".join(lines))
    write_features(out / "features.csv", wanted, norm[0], norm[1], sampled=False)
    scale = norm[2:]
    if physical_head:
        with torch.no_grad():
            std, mean = torch.tensor(norm[3]).float(), torch.tensor(norm[2]).float()
            net.head.weight.mul_(std[:, None])
            net.head.bias.mul_(std).add_(mean)
        scale = [np.zeros(len(outputs)), np.ones(len(outputs))]
    with open(out / "outputs.csv", "w", newline="\n") as file:
        file.write("name,unit,mean,std\n")
        for name, m, s in zip(outputs, *scale):
            file.write(f"{name},{OUTPUT_UNITS[name]},{m:.9g},{s:.9g}\n")
    write_safetensors(out / "model.safetensors", net.state_dict())


def main(work, out):
    torch.set_num_threads(2)
    make(LSTM, LSTM_FEATURES, work, out / "lstm", physical_head=True)
    make(Elman, ELMAN_FEATURES, work, out / "elman", physical_head=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
