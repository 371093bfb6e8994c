# A stand-in for a Keras-style model: it has get_weights() and nothing else of one. The layout
# and the equations are those of a GRU layer with reset_after (gates z, r, h side by side; bias
# for the inputs, then for the states) and of a dense layer. All numbers are invented.
import numpy

random = numpy.random.default_rng(7)
features = [("supply_level", "supply", "level", "bar"), ("return_level", "return", "level", "bar"),
            ("oil_temperature", "oil", "level", "degC")]
mean, std = numpy.array([120.0, 4.0, 45.0]), numpy.array([60.0, 2.0, 12.0])
outputs = [("leakage", "L/min", 2.0, 1.5), ("air", "% by volume", 5.0, 3.0)]


class Net:
    def __init__(self, inputs, units, size):
        shapes = [(inputs, 3 * units), (units, 3 * units), (2, 3 * units), (units, size), (size,)]
        self.weights = [random.normal(scale=0.6, size=shape).astype(numpy.float32)
                        for shape in shapes]

    def get_weights(self):
        return self.weights


def logistic(v):
    return 1 / (1 + numpy.exp(-v))


def predict(x):
    kernel, recurrent, bias, dense, offset = [w.astype(float) for w in net.get_weights()]
    h, rows = numpy.zeros(len(recurrent)), []
    for step in (x - mean) / std:
        a, b = numpy.split(step @ kernel + bias[0], 3), numpy.split(h @ recurrent + bias[1], 3)
        z, r = logistic(a[0] + b[0]), logistic(a[1] + b[1])
        h = z * h + (1 - z) * numpy.tanh(a[2] + r * b[2])
        rows.append(h @ dense + offset)
    return numpy.array(rows) * [o[3] for o in outputs] + [o[2] for o in outputs]


net = Net(len(features), 6, len(outputs))
runs, attributions = [], []
for i in range(24):
    noise = random.normal(size=(120, len(features)))
    x = mean + std * numpy.cumsum(noise, axis=0) / numpy.sqrt(1 + numpy.arange(120))[:, None]
    y = predict(x)
    runs.append((["splitting", "cycling"][i // 2 % 2], x, y + 0.3 * random.normal(size=y.shape)))
    attributions.append(random.normal(size=(len(x), len(features), len(outputs))))
