"""The acoustic network: a factored time-delay network over cepstra, one answer each 30 ms.

Layers before the step to 30 ms look one frame (10 ms) to each side, those after it three. The same function as the
nnet3 network that export.py writes: features are repeated at both ends of a sound as far as the context reaches.
"""
import math

import torch
import torch.nn as nn
import torch.nn.functional as F

from words import CLASSES

OUTPUTS = 2 * len(CLASSES)          # of each class: entering it, staying in it


class Taps(nn.Module):
    """A sum of linear layers over neighbouring frames, [B, T, in] -> [B, T - taps + 1, out]: a convolution in time,
    but as plain matrix products, which need no tuning for each new length."""

    def __init__(self, inputs, outputs, taps, bias=True):
        super().__init__()
        self.taps = taps
        self.weight = nn.Parameter(torch.empty(outputs, inputs, taps))
        nn.init.kaiming_uniform_(self.weight, a=math.sqrt(5))
        bound = 1 / math.sqrt(inputs * taps)
        self.bias = nn.Parameter(torch.empty(outputs).uniform_(-bound, bound)) if bias else None

    def forward(self, x):
        frames = x.shape[1] - self.taps + 1
        y = F.linear(x[:, :frames], self.weight[:, :, 0], self.bias)
        for k in range(1, self.taps):
            y = y + F.linear(x[:, k: k + frames], self.weight[:, :, k])
        return y


class Norm(nn.Module):
    """Batch normalisation without scale and shift of its own: folded into the next layer on export."""

    def __init__(self, size):
        super().__init__()
        self.register_buffer("mean", torch.zeros(size))
        self.register_buffer("variance", torch.ones(size))

    def forward(self, x):
        flat = x.reshape(-1, x.shape[2])
        return F.batch_norm(flat, self.mean, self.variance, None, None, self.training, 0.02, 1e-3).view(x.shape)


class Scatter(nn.Module):
    """Multiplicative noise, the same along time."""

    def __init__(self, spread=0.2):
        super().__init__()
        self.spread = spread

    def forward(self, x):
        if not self.training or self.spread == 0.0:
            return x
        return x * (1 + self.spread * (2 * torch.rand(x.shape[0], 1, x.shape[2], device=x.device, dtype=x.dtype) - 1))


class Factored(nn.Module):
    """Wide -> narrow over (t - d, t), narrow -> wide over (t, t + d), with a way past."""

    def __init__(self, wide, narrow, taps):
        super().__init__()
        self.taps = taps
        self.narrow = Taps(wide, narrow, taps, bias=False)
        self.wide = Taps(narrow, wide, taps)
        self.norm, self.scatter = Norm(wide), Scatter()
        nn.init.orthogonal_(self.narrow.weight.data.view(narrow, -1))

    def forward(self, x):
        y = self.scatter(self.norm(F.relu(self.wide(self.narrow(x)))))
        cut = self.taps - 1
        return y + 0.66 * (x[:, cut: x.shape[1] - cut] if cut else x)


class Network(nn.Module):
    """`shape`: filters, wide, narrow, fast (layers at 10 ms), slow (layers at 30 ms), head."""

    def __init__(self, shape):
        super().__init__()
        self.shape = dict(shape)
        filters, wide, narrow, head = shape["filters"], shape["wide"], shape["narrow"], shape["head"]
        self.register_buffer("mean", torch.zeros(filters))
        self.register_buffer("deviation", torch.ones(filters))
        self.first = Taps(filters, wide, 3)
        self.first_norm, self.first_scatter = Norm(wide), Scatter()
        self.fast = nn.ModuleList([Factored(wide, narrow, 2) for _ in range(shape["fast"])])
        self.step = Factored(wide, narrow, 1)
        self.slow = nn.ModuleList([Factored(wide, narrow, 2) for _ in range(shape["slow"])])
        self.head, self.head_norm = Taps(wide, head, 1), Norm(head)
        self.output = Taps(head, OUTPUTS, 1)
        self.classes = Taps(head, OUTPUTS, 1)          # a second, cross-entropy output, for training only
        for layer in (self.output, self.classes):
            nn.init.zeros_(layer.bias)
            layer.weight.data *= 0.1
        self.context = 1 + shape["fast"] + 3 * shape["slow"]

    def forward(self, x, both=False):
        """[B, T, filters] -> [B, ceil(T / 3), OUTPUTS]"""
        frames = x.shape[1]
        last = 3 * ((frames + 2) // 3 - 1)
        x = (x - self.mean) / self.deviation
        after = self.context + last - (frames - 1)
        x = torch.cat([x[:, :1].expand(-1, self.context, -1), x if after >= 0 else x[:, :after], x[:, -1:].expand(-1, max(after, 0), -1)], 1)
        x = self.first_scatter(self.first_norm(F.relu(self.first(x))))
        for layer in self.fast:
            x = layer(x)
        x = self.step(x[:, ::3])
        for layer in self.slow:
            x = layer(x)
        x = self.head_norm(F.relu(self.head(x)))
        y = self.output(x)
        return (y, self.classes(x)) if both else y
