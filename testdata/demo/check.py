"""Judges the network of kerf's demo job without torch and without kerf.

    /usr/bin/python3 testdata/demo/check.py testdata/demo

Reads model.safetensors byte by byte, runs the GRU in numpy and float64 over
the recordings (invented and synthetic), writes float_errors.csv from the
sign-off recordings, and prints: errors, slow units, and what it costs to hold
features and units at their mean without any retraining.
"""

import csv
import json
import struct
import sys
from pathlib import Path

import numpy as np

from recordings import read_recordings


def read_safetensors(path):
    raw = path.read_bytes()
    (size,) = struct.unpack_from("<Q", raw)
    data = raw[8 + size:]
    tensors = {}
    for name, entry in json.loads(raw[8:8 + size]).items():
        first, last = entry["data_offsets"]
        assert entry["dtype"] == "F32", name
        values = np.frombuffer(data[first:last], "<f4")
        tensors[name] = values.reshape(entry["shape"]).astype(np.float64)
    return tensors


def sigmoid(v):
    return 1 / (1 + np.exp(-v))


class Network:
    """The equations of torch.nn.GRU and nn.Linear (PyTorch documentation, torch.nn.GRU):

    r = sigmoid(W_r x + b_r + U_r h + d_r),  z likewise,
    n = tanh(W_n x + b_n + r (U_n h + d_n)),  h' = (1 - z) n + z h
    """

    def __init__(self, folder):
        t = read_safetensors(folder / "model.safetensors")
        self.W, self.U = t["gru.weight_ih_l0"], t["gru.weight_hh_l0"]
        self.b, self.d = t["gru.bias_ih_l0"], t["gru.bias_hh_l0"]
        self.V, self.c = t["head.weight"], t["head.bias"]
        self.units = self.U.shape[1]
        self.x_mean, self.x_std = read_normalisation(folder / "features.csv")
        self.y_mean, self.y_std = read_normalisation(folder / "outputs.csv")

    def run(self, sequences, held_features=(), held_units=()):
        """Runs all sequences side by side. Held features stay at their mean;
        held_units maps units to the value they stay at. Returns per sequence
        the outputs in physical units, the states and the update gates."""
        longest = max(len(s.x) for s in sequences)
        x = np.zeros((longest, len(sequences), len(self.x_mean)))
        for i, s in enumerate(sequences):
            x[:len(s.x), i] = (s.x - self.x_mean) / self.x_std
        x[:, :, list(held_features)] = 0
        h = np.zeros((len(sequences), self.units))
        held = dict(held_units)
        index, value = list(held), list(held.values())
        h[:, index] = value
        states, gates = [], []
        for now in x @ self.W.T + self.b:
            before = h @ self.U.T + self.d
            r, z, n = np.split(now, 3, axis=1)
            u_r, u_z, u_n = np.split(before, 3, axis=1)
            z = sigmoid(z + u_z)
            n = np.tanh(n + sigmoid(r + u_r) * u_n)
            h = (1 - z) * n + z * h
            h[:, index] = value
            states.append(h)
            gates.append(z)
        states, gates = np.array(states), np.array(gates)
        y = (states @ self.V.T + self.c) * self.y_std + self.y_mean
        cut = lambda a: [a[:len(s.x), i] for i, s in enumerate(sequences)]
        return cut(y), cut(states), cut(gates)


def read_normalisation(path):
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    return np.array([[float(r["mean"]), float(r["std"])] for r in rows]).T


def errors(sequences, predicted):
    """RMSE [scenario, output] in physical units, "all" first."""
    table = {}
    for scenario in ["all"] + list(dict.fromkeys(s.scenario for s in sequences)):
        wrong = [p - s.y for s, p in zip(sequences, predicted) if scenario in ("all", s.scenario)]
        table[scenario] = np.sqrt(np.mean(np.concatenate(wrong) ** 2, axis=0))
    return table


def write_errors(path, sequences, table, outputs):
    with open(path, "w", newline="\n") as out:
        out.write("output,scenario,rmse,steps,sequences\n")
        for o, output in enumerate(outputs):
            for scenario, rmse in table.items():
                use = [len(s.x) for s in sequences if scenario in ("all", s.scenario)]
                out.write(f"{output},{scenario},{rmse[o]:.12g},{sum(use)},{len(use)}\n")


def worst_rise(table, base):
    """Largest relative rise of RMSE over scenarios and outputs, as (rise, scenario, output
    index)."""
    return max((table[s][o] / base[s][o] - 1, s, o) for s in base for o in range(len(base[s])))


def main(folder):
    net = Network(folder)
    signoff, names, outputs = read_recordings(folder / "signoff.csv.gz")
    predicted, _, _ = net.run(signoff)
    base = errors(signoff, predicted)
    write_errors(folder / "float_errors.csv", signoff, base, outputs)
    truth = np.concatenate([s.y for s in signoff])
    print("R2 on sign-off:", dict(zip(outputs, 1 - base["all"] ** 2 / truth.var(axis=0))))
    for scenario, rmse in base.items():
        spread = np.concatenate(
            [s.y for s in signoff if scenario in ("all", s.scenario)]).std(axis=0)
        print(f"{scenario:18}", *(f"{o} rmse {v:.4f} (std {sd:.3f})"
                                  for o, v, sd in zip(outputs, rmse, spread)))

    chosen, _, _ = read_recordings(folder / "selection.csv.gz")
    predicted, states, gates = net.run(chosen)
    base = errors(chosen, predicted)
    states, z = np.concatenate(states), np.concatenate(gates).mean(axis=0)
    means = states.mean(axis=0)

    def rise(features, units):
        held = {u: means[u] for u in units}
        return worst_rise(errors(chosen, net.run(chosen, features, held)[0]), base)

    def words(worst):
        return f"{worst[0]:+.1%} ({outputs[worst[2]]}, {worst[1]})"

    costs = []
    print("units: mean update gate z over the selection recordings, time constant 1/(1-z), "
          "worst rise of RMSE if held alone")
    for u in np.argsort(-z):
        costs.append((rise([], [u]), "unit", u))
        print(f"  unit {u:2}: z {z[u]:.5f}, {1 / (1 - z[u]):6.1f} steps, {words(costs[-1][0])}")
    print("features: worst rise of RMSE if held alone")
    for f, name in enumerate(names):
        costs.append((rise([f], []), "feature", f))
        print(f"  {name:30} {words(costs[-1][0])}")

    print("held together, the cheapest first, up to a worst rise of 5 %:")
    features, units = [], []
    for _, kind, index in sorted(costs):
        (units if kind == "unit" else features).append(index)
        worst = rise(features, units)
        if worst[0] > 0.05:
            break
        print(f"  {len(features)} features and {len(units)} units: {words(worst)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
