"""What stands between a mouth and the cepstra: joined clips, speed, echo, noise, channel, clipping, level. All on one device."""
import math
import random

import numpy as np
import torch

RATE = 16_000


class Surroundings:
    """`sound`: all recordings one after another, 16-bit. `noise`: the longest (start, end) of noises in it is drawn from."""

    def __init__(self, sound, noise):
        self.sound, self.noise = sound, max(noise, key=lambda part: part[1] - part[0])

    def join(self, lengths, width, segments):
        """segments [K,6]: row, start, length, speed, place, gain -> sound [B,N] about +-1, and samples of speech in each row."""
        device = self.sound.device
        rows = len(lengths)
        total = int((segments[:, 2] / segments[:, 3]).astype(np.int64).sum())   # known here: the device need not be waited for
        s = torch.as_tensor(segments, dtype=torch.float64).to(device, non_blocking=True)
        long = (s[:, 2] / s[:, 3]).long()
        begin = torch.cumsum(long, 0) - long
        which = torch.repeat_interleave(torch.arange(len(s), device=device), long, output_size=total)
        n = torch.arange(len(which), device=device) - begin[which]
        position = n * s[which, 3]
        whole = position.floor()
        part = (position - whole).float()
        whole = whole.long()
        first, end = s[:, 1].long()[which], (s[:, 2].long() - 1)[which]

        def at(k):
            return self.sound[first + torch.minimum((whole + k).clamp(min=0), end)].float()
        a, b, c, d = at(-1), at(0), at(1), at(2)
        value = b + 0.5 * part * (c - a + part * (2 * a - 5 * b + 4 * c - d + part * (3 * (b - c) + d - a)))
        fade = torch.minimum(n, long[which] - 1 - n).clamp(max=80).float() / 80
        value = value * fade * s[which, 5].float() / 32768
        out = torch.zeros(rows * width, device=device)
        row = s[which, 0].long()
        target = row * width + s[which, 4].long() + n
        inside = target < (row + 1) * width
        out.index_add_(0, target.clamp(max=rows * width - 1), value * inside)
        spoken = torch.zeros(rows, device=device).index_add_(0, s[:, 0].long(), long.float())
        return out.view(rows, width), spoken

    def __call__(self, lengths, width, segments):
        device = self.sound.device
        x, spoken = self.join(lengths, width, segments)
        rows = len(x)
        points = width + 8000
        bins = points // 2 + 1

        def even(low=0.0, high=1.0, *size):
            return torch.rand(*(size or (rows, 1)), device=device) * (high - low) + low
        loud = ((x ** 2).sum(1) / spoken.clamp(min=1)).sqrt()[:, None] + 1e-5
        x = x / loud * 0.05
        # echo of a room, a hall, a cabinet
        time = torch.arange(8000, device=device)[None] / RATE
        tail = torch.randn(rows, 8000, device=device) * torch.exp(-6.9 * time / even(0.08, 0.6)) * (time > even(0.001, 0.008))
        echo = tail / (tail ** 2).sum(1, keepdim=True).sqrt() * 10 ** (-even(-1, 16) / 20) * (even() < 0.4)
        echo[:, 0] = 1
        x = torch.fft.irfft(torch.fft.rfft(x, points) * torch.fft.rfft(echo, points), points)[:, :width]
        # noise: recorded, coloured, or other people's talk
        kind, above = even(), even(-2, 26)
        low, high = self.noise
        start = (torch.rand(rows, 1, device=device) * (high - low - width - 1)).long() + low
        recorded = self.sound[start + torch.arange(width, device=device)[None]].float() / 32768
        tilt = (torch.arange(width // 2 + 1, device=device)[None] + 20.0) ** (-even(0, 1.1))
        coloured = torch.fft.irfft(torch.fft.rfft(torch.randn(rows, width, device=device)) * tilt, width)
        talk = sum(x.roll(k, 0).roll(int(random.random() * width), 1) for k in (1, 3, 5, 8))
        noise = torch.where(kind < 0.6, recorded, torch.where(kind < 0.9, coloured, talk))
        noise = noise / ((noise ** 2).mean(1, keepdim=True).sqrt() + 1e-6) * 0.05 * 10 ** (-above / 20)
        x = x + noise * (even() < 0.6)
        # knocks and the rustle of gloves: short bursts
        knocks = torch.zeros(rows, width, device=device)
        ring = torch.exp(-torch.arange(1600, device=device)[None] / even(40, 500)) * torch.randn(rows, 1600, device=device)
        for _ in range(2):
            place = (torch.rand(rows, 1, device=device) * (width - 1601)).long() + torch.arange(1600, device=device)[None]
            knocks.scatter_add_(1, place, ring * even(0.01, 0.25))
        x = x + knocks * (even() < 0.15)
        # microphone, radio (300 to 3400 Hz and the like), distance
        hertz = torch.arange(bins, device=device) * (RATE / 2 / (bins - 1))
        knots = torch.tensor([0.0, 120, 300, 600, 1200, 2000, 3000, 4200, 6000, 8000], device=device)
        j = (torch.searchsorted(knots, hertz, right=True) - 1).clamp(0, 8)
        weight = (hertz - knots[j]) / (knots[j + 1] - knots[j])
        gain = torch.randn(rows, 10, device=device) * even(0, 5) * (even() < 0.7)
        decibels = gain[:, j] * (1 - weight) + gain[:, j + 1] * weight
        kind = even()
        cut_low = torch.where(kind < 0.2, even(150, 350), 20 + 80 * (even() < 0.3).float())
        cut_high = torch.where(kind < 0.2, even(2900, 3900), torch.where(kind < 0.36, even(3500, 4100),
                               torch.where(kind < 0.44, even(5000, 7500), torch.full_like(kind, 9000.0))))
        decibels = decibels - 12 * torch.relu((cut_low - hertz) / 60).clamp(max=4) - torch.relu((hertz - cut_high) / 100).clamp(max=1) * even(25, 60)
        x = torch.fft.irfft(torch.fft.rfft(x, points) * 10 ** (decibels / 20), points)[:, :width]
        # clipping, coarse steps, level, the converter's own noise
        x = x / (x.abs().amax(1, keepdim=True) + 1e-6)
        limit = even(0.15, 0.6)
        x = torch.where(even() < 0.06, x.clamp(-limit, limit) / limit, x)
        curved = torch.sign(x) * torch.log1p(255 * x.abs()) / math.log(256)
        coarse = torch.sign(x) * (256 ** ((curved * 127).round() / 127).abs() - 1) / 255
        x = torch.where(even() < 0.06, coarse, x)
        x = x * 10 ** (even(-36, -0.3) / 20) * 32768
        x = x + torch.randn_like(x) * 10 ** even(-0.7, 0.9) * (even() < 0.85)
        return x.round().clamp(-32768, 32767)
