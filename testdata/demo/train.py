"""Trains the network of kerf's demo job on invented, synthetic recordings.

    go run ./testdata/demo/generate -out WORK
    /usr/bin/python3 testdata/demo/train.py WORK testdata/demo

WORK holds train.csv and selection.csv.gz. Writes features.csv, outputs.csv,
model.safetensors and scores.csv into the second folder. Sign-off recordings
are not read here; check.py judges the result on them.
"""

import json
import math
import struct
import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

from recordings import COMPUTED, OUTPUT_UNITS, UNITS, read_recordings

SEED = 7
HIDDEN = 24
SLOW_UNITS = 6  # their update gates start near 1, so that long memory need not be discovered
EPOCHS = 140
BATCH = 20  # sequences
RATE = 1e-2  # of Adam, falls to 0 along a half cosine
FEATURE_PENALTY = 6e-4  # on the norm of each input column: pushes useless features to zero
UNIT_PENALTY = 4e-4  # on the norm of what each unit sends out: pushes useless units to zero
HIDDEN_FEATURE = 0.03  # chance that a sequence sees a feature at its mean
# The same for doubted features: the network may use them, but must not need them.
# All of the supply spectrum is among them, since its code could then be saved.
DOUBTED = {"supply_ripple_amplitude": 0.6, "supply_ripple_phase": 0.7,
           "supply_second_harmonic": 0.6, "supply_distortion": 0.7, "return_slope": 0.5,
           "return_second_harmonic": 0.6, "case_drain_ripple_phase": 0.4,
           "case_drain_second_harmonic": 0.6, "case_drain_distortion": 0.4}
# Units that a batch may find held at their mean: the network is too large on purpose.
SPARE_UNITS = 11


class Network(nn.Module):
    def __init__(self, n_features, n_outputs):
        super().__init__()
        self.gru = nn.GRU(n_features, HIDDEN, batch_first=True)
        self.head = nn.Linear(HIDDEN, n_outputs)
        self.mean_state = torch.zeros(HIDDEN)  # running mean of the states in training
        with torch.no_grad():
            # Rows of torch's GRU: reset, update, new. A unit with update gate z
            # forgets with time constant 1/(1-z) steps; z = sigmoid(log(T-1)) gives T.
            self.gru.bias_ih_l0.zero_()
            self.gru.bias_hh_l0.zero_()
            spread = torch.linspace(300, 900, SLOW_UNITS)
            self.gru.bias_ih_l0[HIDDEN:HIDDEN + SLOW_UNITS] = torch.log(spread - 1)

    def forward(self, x):
        h, _ = self.gru(x)
        return self.head(h)

    def forward_holding(self, x, held):
        """Outputs [sequence, step, output] and states [sequence, step, unit] if
        the units in held count with their mean: nothing reads their columns,
        the biases take up the mean."""
        heard = torch.ones(HIDDEN)
        heard[held] = 0
        mean = self.mean_state * (1 - heard)
        w, u, b, d = self.gru.parameters()
        start = torch.zeros(1, len(x), HIDDEN)
        h, _ = torch.gru(x, start, (w, u * heard, b, d + u @ mean), has_biases=True, num_layers=1,
                         dropout=0.0, train=True, bidirectional=False, batch_first=True)
        return self.head(h * heard + mean), h

    def follow_mean(self, h, mask):
        now = (h.detach() * mask).sum(dim=(0, 1)) / mask.sum()
        self.mean_state += 0.1 * (now - self.mean_state)

    def penalty(self):
        columns = self.gru.weight_ih_l0.norm(dim=0).sum()
        sent = torch.cat([self.gru.weight_hh_l0, self.head.weight]).norm(dim=0).sum()
        return FEATURE_PENALTY * columns + UNIT_PENALTY * sent


def pad(sequences, x_mean, x_std, y_mean, y_std):
    """Normalised features, outputs and a mask, each [sequence, step, ...], zero behind the end."""
    longest = max(len(s.x) for s in sequences)
    x = np.zeros((len(sequences), longest, len(x_mean)), np.float32)
    y = np.zeros((len(sequences), longest, len(y_mean)), np.float32)
    mask = np.zeros((len(sequences), longest, 1), np.float32)
    for i, s in enumerate(sequences):
        n = len(s.x)
        x[i, :n] = (s.x - x_mean) / x_std
        y[i, :n] = (s.y - y_mean) / y_std
        mask[i, :n] = 1
    return torch.from_numpy(x), torch.from_numpy(y), torch.from_numpy(mask)


def train(net, x, y, mask, hide):
    optimiser = torch.optim.Adam(net.parameters(), lr=RATE)
    steps = EPOCHS * math.ceil(len(x) / BATCH)
    schedule = torch.optim.lr_scheduler.LambdaLR(
        optimiser, lambda k: 0.5 * (1 + math.cos(math.pi * k / steps)))
    spare = SLOW_UNITS + torch.randperm(HIDDEN - SLOW_UNITS)[:SPARE_UNITS]
    began = time.time()
    for epoch in range(EPOCHS):
        total = 0.0
        for pick in torch.randperm(len(x)).split(BATCH):
            kept = (torch.rand(len(pick), 1, x.shape[2]) >= hide).float()
            held = spare[torch.rand(SPARE_UNITS) < torch.rand(()).sqrt()]
            y_net, h = net.forward_holding(x[pick] * kept, held)
            net.follow_mean(h, mask[pick])
            error = (y_net - y[pick]) * mask[pick]
            loss = error.square().sum() / mask[pick].sum() / y.shape[2]
            optimiser.zero_grad()
            (loss + net.penalty()).backward()
            nn.utils.clip_grad_norm_(net.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += loss.item() * len(pick)
        if epoch % 10 == 9:
            print(f"epoch {epoch + 1}: loss {total / len(x):.4f}, {time.time() - began:.0f} s",
                  flush=True)


def attributions(net, x, mask, rng, draws=8):
    """Shapley values by sampling: features are switched from the background
    (their mean, 0 after normalisation) to their recorded values over whole
    sequences, one by one in random order; each is credited with the change of
    the outputs. Returns [sequence, step, feature, output]."""
    n = x.shape[2]
    credit = torch.zeros(*x.shape, net.head.out_features)
    with torch.no_grad():
        for _ in range(draws):
            shown = torch.zeros_like(x)
            before = net(shown)
            for f in rng.permutation(n):
                shown[:, :, f] = x[:, :, f]
                after = net(shown)
                credit[:, :, f] += after - before
                before = after
    return credit / draws * mask[..., None]


def write_scores(path, credit, mask, sequences, features, outputs, y_std):
    """Mean |attribution| in physical units; output "all" is the mean over
    outputs of score divided by the output's standard deviation."""
    scenarios = list(dict.fromkeys(s.scenario for s in sequences))
    size = credit.abs().double().sum(dim=1)  # [sequence, feature, output]
    steps = mask.double().sum(dim=(1, 2))
    with open(path, "w", newline="\n") as out:
        out.write("feature,scenario,output,score\n")
        for f, name in enumerate(features):
            for scenario in ["all"] + scenarios:
                use = torch.tensor([scenario in ("all", s.scenario) for s in sequences])
                score = size[use, f].sum(dim=0) / steps[use].sum()  # in std of each output
                out.write(f"{name},{scenario},all,{score.mean():.6g}\n")
                for o, output in enumerate(outputs):
                    out.write(f"{name},{scenario},{output},{score[o] * y_std[o]:.6g}\n")


def write_safetensors(path, state):
    """Layout: length of the header as 8 bytes little endian, header in JSON, tensors."""
    header, data = {}, b""
    for name, tensor in state.items():
        raw = tensor.detach().numpy().astype("<f4").tobytes()
        header[name] = {"dtype": "F32", "shape": list(tensor.shape),
                        "data_offsets": [len(data), len(data) + len(raw)]}
        data += raw
    text = json.dumps(header, separators=(",", ":")).encode("ascii")
    text += b" " * (-len(text) % 8)
    path.write_bytes(struct.pack("<Q", len(text)) + text + data)


def write_features(path, features, mean, std, sampled=True):
    """Where nothing is sampled, features are given and a spectrum for each channel costs something."""
    with open(path, "w", newline="\n") as out:
        out.write("name,channel,kind,unit,mean,std,front_end" + ",computed" * sampled + "\n")
        for name, m, s in zip(features, mean, std):
            kind = next(k for k in UNITS if name.endswith(k)) if name != "oil_temperature" else ""
            if not kind:
                row = [name, name, "level", "degC", "thermometer" if sampled else "", ""]
            elif sampled:
                row = [name, name[:-len(kind) - 1], kind, UNITS[kind], "", COMPUTED[kind]]
            else:
                channel = name[:-len(kind) - 1]
                group = f"{channel}_spectrum" if "(" in COMPUTED[kind] else ""
                row = [name, channel, kind, UNITS[kind], group]
            out.write(",".join(row[:4] + [f"{m:.9g}", f"{s:.9g}"] + row[4:4 + 1 + sampled]) + "\n")


def main(work, out):
    torch.manual_seed(SEED)
    torch.set_num_threads(2)
    sequences, features, outputs = read_recordings(work / "train.csv")
    x_all = np.concatenate([s.x for s in sequences])
    y_all = np.concatenate([s.y for s in sequences])
    # The printed digits are the normalisation: round first, then train.
    norm = [np.array([float(f"{v:.9g}") for v in a])
            for a in (x_all.mean(0), x_all.std(0), y_all.mean(0), y_all.std(0))]
    write_features(out / "features.csv", features, norm[0], norm[1])
    with open(out / "outputs.csv", "w", newline="\n") as file:
        file.write("name,unit,mean,std\n")
        for name, m, s in zip(outputs, norm[2], norm[3]):
            file.write(f"{name},{OUTPUT_UNITS[name]},{m:.9g},{s:.9g}\n")

    net = Network(len(features), len(outputs))
    hide = torch.tensor([DOUBTED.get(f, HIDDEN_FEATURE) for f in features])
    train(net, *pad(sequences, *norm), hide)
    write_safetensors(out / "model.safetensors", net.state_dict())

    chosen, _, _ = read_recordings(work / "selection.csv.gz")
    x, _, mask = pad(chosen, *norm)
    credit = attributions(net, x, mask, np.random.default_rng(SEED))
    write_scores(out / "scores.csv", credit, mask, chosen, features, outputs, norm[3])


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
