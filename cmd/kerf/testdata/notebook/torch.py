# The notebook of a user of torch, as small as it can be: a network with random weights, and
# recordings that are its own outputs with noise. All of it is invented.
import numpy
import torch

torch.manual_seed(7)
random = numpy.random.default_rng(7)


class Net(torch.nn.Module):
    def __init__(self):
        super().__init__()
        self.memory = torch.nn.GRU(5, 8, batch_first=True)
        self.head = torch.nn.Linear(8, 2)

    def forward(self, x):
        return self.head(self.memory(x)[0])


net = Net()
for parameter in net.parameters():
    torch.nn.init.normal_(parameter, std=0.6)
features = [
    ("supply_level", "supply", "level", "bar"), ("supply_slope", "supply", "slope", "bar/s"),
    ("return_level", "return", "level", "bar"),
    ("return_distortion", "return", "distortion", "1"), ("oil_temperature", "oil", "level", "degC"),
]
mean, std = numpy.array([120.0, 0.5, 4.0, 0.1, 45.0]), numpy.array([60.0, 20.0, 2.0, 0.05, 12.0])
outputs = [("leakage", "L/min", 2.0, 1.5), ("air", "% by volume", 5.0, 3.0)]


def predict(x):
    raw = net(torch.tensor((x - mean) / std, dtype=torch.float32)[None])[0].detach().numpy()
    return raw * [o[3] for o in outputs] + [o[2] for o in outputs]


runs, attributions = [], []
for i in range(24):
    noise = random.normal(size=(150, len(features)))
    x = mean + std * numpy.cumsum(noise, axis=0) / numpy.sqrt(1 + numpy.arange(150))[:, None]
    y = predict(x)
    runs.append((["splitting", "cycling"][i // 2 % 2], x, y + 0.3 * random.normal(size=y.shape)))
    inputs = torch.tensor((x - mean) / std, dtype=torch.float32)[None].requires_grad_()
    by_output = [torch.autograd.grad(net(inputs)[0, :, o].sum(), inputs)[0][0] * inputs[0]
                 for o in range(len(outputs))]
    attributions.append(torch.stack(by_output, dim=-1).detach().numpy())
