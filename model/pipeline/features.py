"""The cepstra that libvosk computes (Kaldi's MFCC with the options of conf/mfcc.conf), in batches on any device."""
import math

import numpy as np
import torch

RATE, WINDOW, SHIFT, POINTS = 16_000, 400, 160, 512
# Vocal tracts longer and shorter than the speaker's own; the first is the speaker's.
WARPS = (1.0, 0.86, 0.9, 0.94, 0.97, 1.03, 1.06, 1.1, 1.14)


def mel(hertz):
    return 1127.0 * np.log1p(np.asarray(hertz, np.float64) / 700.0)


def mel_filters(filters, low, high, warp=1.0):
    """Triangles evenly spaced on the mel scale, their corners moved by `warp`. [filters, bins]"""
    corners = np.linspace(mel(low), mel(high), filters + 2)
    if warp != 1.0:
        corners = mel(np.minimum(700.0 * np.expm1(corners / 1127.0) * warp, RATE / 2 - 1.0))
    bins = mel(np.arange(POINTS // 2 + 1) * RATE / POINTS)
    bins[-1] = np.inf                                      # Kaldi leaves the last bin out
    left, middle, right = (corners[i: i + filters, None] for i in range(3))
    rise = (bins - left) / np.maximum(middle - left, 1e-6)
    fall = (right - bins) / np.maximum(right - middle, 1e-6)
    weights = np.where((bins > left) & (bins < right), np.where(bins <= middle, rise, fall), 0.0)
    return torch.tensor(np.nan_to_num(weights, posinf=0.0, neginf=0.0), dtype=torch.float32)


class Cepstra(torch.nn.Module):
    """Samples in the range of 16-bit integers -> log mel energies -> liftered cepstra."""

    def __init__(self, filters=40, low=20.0, high=7600.0):
        super().__init__()
        at = 2.0 * math.pi * np.arange(WINDOW) / (WINDOW - 1)
        self.register_buffer("window", torch.tensor((0.5 - 0.5 * np.cos(at)) ** 0.85, dtype=torch.float32))
        self.register_buffer("filters", torch.stack([mel_filters(filters, low, high, w) for w in WARPS]))
        n = np.arange(filters)
        cosines = math.sqrt(2.0 / filters) * np.cos(math.pi / filters * (n[None] + 0.5) * n[:, None])
        cosines[0] = math.sqrt(1.0 / filters)
        lifter = 1.0 + 11.0 * np.sin(math.pi * n / 22.0)
        self.register_buffer("cosines", torch.tensor(cosines * lifter[:, None], dtype=torch.float32))

    def log_mel(self, samples, warp=0):
        """[B, N] -> [B, 1 + (N - 400) // 160, filters]"""
        frames = samples.unfold(1, WINDOW, SHIFT)
        frames = frames - frames.mean(2, keepdim=True)
        frames = torch.cat([frames[..., :1] * 0.03, frames[..., 1:] - 0.97 * frames[..., :-1]], 2) * self.window
        power = torch.fft.rfft(frames, POINTS).abs() ** 2
        return torch.log((power @ self.filters[warp].T).clamp_min(1.1920929e-07))

    def forward(self, samples, warp=0):
        return self.log_mel(samples, warp) @ self.cosines.T


def frames_of(samples):
    """How many frames a sound of so many samples gives."""
    return 1 + (samples - WINDOW) // SHIFT


def online_mean(cepstra, overall):
    """What libvosk's online normalisation takes away: the mean so far, leaning on 200 frames of an overall mean
    (Kaldi's OnlineCmvn, defaults, for sounds of up to 4 s; beyond, its window would begin to move)."""
    count = torch.arange(1, cepstra.shape[1] + 1, device=cepstra.device, dtype=cepstra.dtype)[None, :, None]
    prior = (600.0 - count).clamp(0.0, 200.0)
    return (cepstra.cumsum(1) + prior * overall) / (count + prior)
