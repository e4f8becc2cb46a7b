"""Trains one acoustic model from nothing.

    train.py CONFIG.json PACKS OUT.pt SECONDS [FROM TO STATE [START.pt]]

CONFIG: seed, shape (network.py), cepstra (filters, low, high), normalise (online mean, true or false), rate (learning
rate), leave_out (sources), weights (how often each kind of clip is drawn, if not as below). PACKS: folder of packs; packs
that appear while it runs are taken in. One twelfth of the real speakers, chosen by a hash of their names, is the development
set and never trained on. A run may be cut in pieces: FROM and TO say which part of the whole this one is (0 to 1), STATE is a
file that hands over to the next; START are weights to begin with where there is no STATE.
On a GPU in ten minutes; on a CPU only good for a test.
"""
import hashlib
import json
import math
import multiprocessing
import os
import random
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import torch

from features import Cepstra, frames_of, online_mean
from network import Network
from objective import denominator, numerator
from packs import RATE, read
from surroundings import Surroundings
from words import CLASSES, dictionary, words_of

# How often each kind of clip is drawn. "joined": words of one real speaker put one after another, now and then another's between.
# "string": digits that a real speaker said in one breath.
WEIGHTS = {"neural": 0.23, "machines": 0.05, "single": 0.19, "sentence": 0.23, "string": 0.05, "joined": 0.21, "noise": 0.04}
DIGITS = {"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh", "point"}
SYNTHETIC = {"kokoro": "neural", "flite": "machines", "espeak-ng": "machines"}
NUMBER = {c: k for k, c in enumerate(CLASSES)}
WIDTH_STEP = 8_000


def set_aside(speaker):
    return int(hashlib.sha256(speaker.encode()).hexdigest(), 16) % 12 == 0


def ends(y):
    """Where a single word begins and ends in its clip (start, length), or None when that is not clear."""
    n = len(y) // 160
    if n < 20:
        return None
    e = 10 * np.log10((y[: n * 160].astype("f4").reshape(n, 160) ** 2).mean(1) + 1)
    e = np.convolve(e, np.ones(3) / 3, "same")
    low, high = np.percentile(e, 10), e.max()
    if high - low < 20:
        return None
    k = np.nonzero(e > low + 0.25 * (high - low))[0]
    a, b = max(0, k[0] - 12) * 160, min(len(y), (k[-1] + 16) * 160)
    return (int(a), int(b - a)) if b - a > 2400 else None


class Clips:
    """All recordings in one run of samples, and what is said in each: (start, length, words, speaker, kind, ends)."""

    def __init__(self, device, leave_out):
        self.hours = 40 if device == "cuda" else 4
        self.sound = torch.zeros(RATE * 3600 * self.hours, dtype=torch.int16, device=device)
        self.used, self.rows, self.development, self.noise, self.seen, self.leave_out = 0, [], [], [], set(), set(leave_out)

    def take_in(self, folder):
        new = 0
        paths = [p.with_suffix("") for p in sorted(Path(folder).glob("*.json")) if p.stem not in self.seen]
        with ThreadPoolExecutor(12) as pool:
            for path, (sound, rows) in zip(paths, pool.map(read, paths)):
                self.seen.add(path.name)
                self._add(path, sound, rows)
                new += 1
        return new

    def _add(self, path, sound, rows):
        if self.used + len(sound) > len(self.sound):
            print("no room for", path, flush=True)
            return
        start = self.used
        self.sound[start: start + len(sound)] = torch.from_numpy(sound).to(self.sound.device)
        self.used += len(sound)
        if path.name.startswith("noise"):
            self.noise.append((start, self.used))
        for at, length, text, speaker, source in rows:
            words = words_of(text)
            real = source != "noise" and source not in SYNTHETIC
            if words is None or source in self.leave_out or (length > 8.5 * RATE and source != "noise") or (not words and source != "noise"):
                continue
            if length / RATE * 33 < sum(len(dictionary()[w][0]) for w in words) + 1:
                continue
            single = source != "noise" and len(words) == 1 and length < 1.7 * RATE
            kind = "noise" if source == "noise" else SYNTHETIC.get(source) or ("single" if single else "string" if DIGITS.issuperset(words) else "sentence")
            row = (start + at, length, words, speaker, kind, ends(sound[at: at + length]) if single else None)
            (self.development if real and set_aside(speaker) else self.rows).append(row)


def states_of(words, dice):
    """Classes of an utterance, silence allowed around and between words, and which of them may be left out."""
    classes, optional = [0], [True]
    for word in words:
        ways = dictionary()[word]
        phones = ways[0] if len(ways) == 1 or dice.random() < 0.5 else dice.choice(ways)
        classes += [NUMBER[p] for p in phones] + [0]
        optional += [False] * len(phones) + [True]
    return classes, optional


def lay_out(rows, queue, seed, seconds, weights):
    """Draws utterances and puts batches of about `seconds` of sound, all of one width, on the queue."""
    dice = random.Random(seed)
    kinds, speakers = {}, {}
    for row in rows:
        kinds.setdefault(row[4], []).append(row)
        if row[4] == "single":
            speakers.setdefault(row[3], []).append(row)
    # Single words: the word first, so that rare ones are not drowned by common ones; a made-up speaker says those that few
    # real ones are known to have said.
    alone = {}
    for row in rows:
        if row[5] and row[4] in ("single", "neural"):
            alone.setdefault(row[2][0], {}).setdefault(row[4], []).append(row)
    evenly = {w: sum(len(r) for r in by_kind.values()) ** 0.3 for w, by_kind in alone.items()}

    def one_word():
        by_kind = alone[dice.choices(list(evenly), list(evenly.values()))[0]]
        return dice.choice(by_kind["single"] if "single" in by_kind and ("neural" not in by_kind or dice.random() < 0.6) else by_kind["neural"])
    names = list(speakers)
    joining = [n for n in names if sum(r[5] is not None for r in speakers[n]) >= 2]
    joining_evenly = [math.sqrt(len(speakers[n])) for n in joining]
    weights = {k: w for k, w in weights.items() if (k in kinds) or (k == "joined" and joining)}

    def draw():
        kind = dice.choices(list(weights), list(weights.values()))[0]
        speed = 1.0 if dice.random() < 0.35 else dice.uniform(0.85, 1.15)
        place = int(dice.uniform(0.02, 0.6) * RATE) if dice.random() < 0.9 else 0
        segments, words = [], []
        if kind == "joined":
            clips = [r for r in speakers[dice.choices(joining, joining_evenly)[0]] if r[5]]
            for k in range(dice.choice([2, 2, 3, 3, 4, 5, 6])):
                row = dice.choice(clips) if dice.random() < 0.7 else one_word()
                if k:
                    place = max(0, place + int(dice.choice([dice.uniform(-0.09, 0.05), dice.uniform(0, 0.2), dice.uniform(0.1, 0.5)]) * RATE))
                segments.append((row[0] + row[5][0], row[5][1], speed, place, dice.uniform(0.7, 1.4)))
                place += int(row[5][1] / speed)
                words += row[2]
        elif kind == "noise":
            row = dice.choice(kinds["noise"])
            length = min(row[1], int(dice.uniform(0.8, 3) * RATE))
            segments.append((row[0] + dice.randint(0, row[1] - length), length, speed, place, 1.0))
            place += int(length / speed)
        else:
            row = one_word() if kind == "single" else dice.choice(kinds[kind])
            start, length = row[5] if row[5] and dice.random() < 0.4 else (0, row[1])
            segments.append((row[0] + start, length, speed, place, 1.0))
            place += int(length / speed)
            words = row[2]
        total = max(8000, place + (int(dice.uniform(0.05, 0.6) * RATE) if dice.random() < 0.9 else 0))
        return total, segments, *states_of(words, dice)

    # Rows of one batch have the same width, one of a few, so that plans and kernels are made once for each.
    waiting = {}
    while True:
        one = draw()
        if (frames_of(one[0]) + 2) // 3 <= len(one[2]) - sum(one[3]) + 2 or one[0] > 9.5 * RATE or len(one[2]) > 200:
            continue
        width = -(-one[0] // WIDTH_STEP) * WIDTH_STEP
        batch = waiting.setdefault(width, [])
        batch.append(one)
        if len(batch) < int(seconds * RATE / width):
            continue
        waiting[width] = []
        most = max(3, max(len(one[2]) for one in batch))
        classes, skip = np.zeros((len(batch), most), np.int64), np.zeros((len(batch), most), bool)
        for k, one in enumerate(batch):
            classes[k, : len(one[2])], skip[k, : len(one[3])] = one[2], one[3]
        segments = np.array([(k, *s) for k, one in enumerate(batch) for s in one[1]], np.float64)
        queue.put((np.array([one[0] for one in batch]), width, segments, classes, skip, np.array([len(one[2]) for one in batch])))


def phone_bigram(rows):
    counts, begin = np.full((len(CLASSES),) * 2, 0.15), np.full(len(CLASSES), 0.5)
    dice = random.Random(0)
    for row in rows:
        classes, _ = states_of(row[2], dice)
        said = [c for c in classes if c or dice.random() < 0.4] or [0]
        begin[said[0]] += 1
        for a, b in zip(said[:-1], said[1:]):
            counts[a, b] += 1
        counts[said[-1], 0] += 1
    return counts / counts.sum(1, keepdims=True), begin / begin.sum()


def mask(energies):
    """Blanks a band and a moment now and then."""
    rows, frames, filters = energies.shape
    device = energies.device
    average = energies.mean(1, keepdim=True)
    for axis, length, most, often in ((2, filters, 6, 0.3), (1, frames, 11, 0.25)):
        at = torch.arange(length, device=device)[None]
        wide = torch.randint(1, most, (rows, 1), device=device)
        start = (torch.rand(rows, 1, device=device) * length).long()
        hidden = (at >= start) & (at < start + wide) & (torch.rand(rows, 1, device=device) < often)
        energies = torch.where(hidden[:, None] if axis == 2 else hidden[..., None], average, energies)
    return energies


@torch.no_grad()
def development_figures(network, cepstra_of, clips, device):
    """Of single words of speakers set aside, the part whose likeliest word (of all single words there and ours) is wrong."""
    singles = [r for r in clips.development if len(r[2]) == 1 and r[1] < 1.7 * RATE]
    choices = sorted({r[2][0] for r in clips.rows if r[4] == "single"} | {r[2][0] for r in singles})
    dice = random.Random(1)
    wrong, asked, wrong_digits, asked_digits = 0, 0, 0, 0
    for row in singles[:1200]:
        x = clips.sound[row[0]: row[0] + row[1]].float()[None]
        x = torch.nn.functional.pad(x, (4800, 4800)) + torch.randn(1, row[1] + 9600, device=device) * 2
        y = network(cepstra_of(x)).float()
        many = [states_of([w], dice) for w in choices]
        most = max(len(m[0]) for m in many)
        classes = torch.tensor([m[0] + [0] * (most - len(m[0])) for m in many], device=device)
        skip = torch.tensor([m[1] + [False] * (most - len(m[1])) for m in many], device=device)
        sizes = torch.tensor([len(m[0]) for m in many], device=device)
        total, _ = numerator(y.expand(len(many), -1, -1), torch.full((len(many),), y.shape[1], device=device), classes, sizes, skip)
        got = choices[int(total.argmax())]
        asked += 1
        wrong += got != row[2][0]
        if row[2][0] in DIGITS:
            inside = [i for i, c in enumerate(choices) if c in DIGITS]
            asked_digits += 1
            wrong_digits += choices[inside[int(total[inside].argmax())]] != row[2][0]
    return f"{len(choices)} words: {wrong} of {asked} wrong; among digits {wrong_digits} of {asked_digits}"


def main():
    config = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    folder, out, seconds = sys.argv[2], sys.argv[3], float(sys.argv[4])
    part_from, part_to = (float(sys.argv[5]), float(sys.argv[6])) if len(sys.argv) > 5 else (0.0, 1.0)
    state_file = sys.argv[7] if len(sys.argv) > 7 else None
    began = time.time()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    random.seed(config["seed"])
    np.random.seed(config["seed"])
    torch.manual_seed(config["seed"])

    def log(*what):
        print(f"[{Path(out).stem} {time.time() - began:.0f} s]", *what, flush=True)

    dictionary()
    clips = Clips(device, config.get("leave_out", []))
    clips.take_in(folder)
    kinds = {}
    for row in clips.rows:
        n, s = kinds.get(row[4], (0, 0))
        kinds[row[4]] = (n + 1, s + row[1])
    log({k: f"{n} clips {s / RATE / 3600:.2f} h" for k, (n, s) in kinds.items()}, len(clips.development), "set aside")
    trans, begin = (torch.tensor(p, dtype=torch.float32, device=device) for p in phone_bigram(clips.rows))
    context = multiprocessing.get_context("fork")
    batch_seconds = config.get("batch", 400) if device == "cuda" else 30

    def start_workers():
        queue = context.Queue(32)
        weights = config.get("weights", WEIGHTS)
        workers = [context.Process(target=lay_out, args=(clips.rows, queue, random.randrange(10 ** 9), batch_seconds, weights), daemon=True)
                   for _ in range(config.get("workers", 4) if device == "cuda" else 1)]
        for w in workers:
            w.start()
        return queue, workers
    queue, workers = start_workers()
    surroundings = Surroundings(clips.sound, clips.noise)
    cepstra = Cepstra(**config["cepstra"]).to(device)
    network = Network(config["shape"]).to(device)
    overall = torch.zeros(config["cepstra"]["filters"], device=device)

    def normal(x):
        return x - online_mean(x, overall) if config["normalise"] else x
    resumed = torch.load(state_file, map_location=device, weights_only=False) if state_file and os.path.exists(state_file) else None
    if resumed:
        network.load_state_dict(resumed["network"])
        overall = resumed["overall"]
    elif len(sys.argv) > 8:
        start = torch.load(sys.argv[8], map_location="cpu", weights_only=False)
        network.load_state_dict({k: v.float() for k, v in start["network"].items()})
        overall = start["overall"].to(device)
    else:
        with torch.no_grad():
            some = [cepstra(surroundings(*queue.get()[:3])) for _ in range(6)]
            overall = torch.cat([x.reshape(-1, x.shape[2]) for x in some]).mean(0)
            some = torch.cat([normal(x).reshape(-1, x.shape[2]) for x in some])
            network.mean.copy_(some.mean(0))
            network.deviation.copy_(some.std(0))
    average = resumed["average"] if resumed else {k: v.detach().clone() for k, v in network.state_dict().items()}
    optimiser = torch.optim.AdamW(network.parameters(), lr=config["rate"], weight_decay=2e-3, betas=(0.9, 0.98), fused=device == "cuda")
    if resumed:
        optimiser.load_state_dict(resumed["optimiser"])
    log("parameters", sum(p.numel() for n, p in network.named_parameters() if not n.startswith("classes.")))

    def save():
        weights = {k: (v.half() if v.dim() > 1 else v.float()).cpu() for k, v in average.items()}
        torch.save(dict(network=weights, config=config, overall=overall.cpu(), steps=step), out + ".part")
        os.replace(out + ".part", out)

    def judged():
        keep = {k: v.clone() for k, v in network.state_dict().items()}
        network.load_state_dict(average)
        network.eval()
        log("development:", development_figures(network, lambda x: normal(cepstra(x)), clips, device))
        network.load_state_dict(keep)
        network.train()

    step, heard, sums = (resumed["step"], resumed["heard"], np.zeros(4)) if resumed else (0, 0.0, np.zeros(4))
    started = last_log = last_poll = last_save = time.time()
    end, waited = began + seconds, 0.0
    every = (30, 90, 150) if device == "cuda" else (5, 1e9, 1e9)
    warm = config.get("warm", 0.05)
    network.train()
    while time.time() < end:
        done = part_from + (part_to - part_from) * (time.time() - started) / (end - started)
        factor = min(1, done / warm, (time.time() - started) / 15) * (0.5 * (1 + math.cos(math.pi * max(0.0, done - warm) / (1 - warm))) * 0.99 + 0.01)
        for group in optimiser.param_groups:
            group["lr"] = config["rate"] * factor
        asked = time.time()
        lengths, width, segments, classes, skip, sizes = queue.get()
        waited += time.time() - asked
        with torch.no_grad():
            x = surroundings(lengths, width, segments)
            warp = 0 if random.random() < 0.4 else random.randrange(1, 9)
            features = normal(mask(cepstra.log_mel(x, warp)) @ cepstra.cosines.T)
            frames = ((torch.from_numpy(frames_of(lengths)) + 2) // 3).to(device)
            classes, skip, sizes = (torch.from_numpy(v).to(device, non_blocking=True) for v in (classes, skip, sizes))
        with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
            y, by_class = network(features, both=True)
        y, by_class = y.float(), by_class.float()
        with torch.no_grad():
            frames = frames.clamp(max=y.shape[1])
            said, said_posterior = numerator(y.detach(), frames, classes, sizes, skip)
            any_, any_posterior = denominator(y.detach(), frames, trans, begin)
            good = torch.isfinite(said) & torch.isfinite(any_) & (said > -1e20)
            part = good.float()[:, None, None]
            said_posterior, any_posterior = torch.nan_to_num(said_posterior) * part, torch.nan_to_num(any_posterior) * part
            total = frames.sum()
        cross = -(said_posterior * torch.log_softmax(by_class, 2)).sum() / total
        loss = (y * (any_posterior - said_posterior)).sum() / total + 2e-4 * (y ** 2).mean() + 0.1 * cross
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        size = torch.nn.utils.clip_grad_norm_(network.parameters(), 3.0)
        if step % 20 == 0:
            if not math.isfinite(size.item()):
                log("a step that is not a number is left out")
                step += 1
                continue
            sums += [((said - any_)[good].sum() / frames[good].sum()).item(), cross.item(), size.item(), 1]
        optimiser.step()
        step += 1
        heard += lengths.sum() / RATE
        with torch.no_grad():
            keep = min(config.get("average", 0.9995), 1 - 1 / (1 + 0.2 * step))
            now = network.state_dict()
            names = [k for k in average if average[k].is_floating_point()]
            torch._foreach_lerp_([average[k] for k in names], [now[k] for k in names], 1 - keep)
        if time.time() - last_log > every[0]:
            log(f"step {step} objective {sums[0] / sums[3]:.4f} cross-entropy {sums[1] / sums[3]:.3f} gradient {sums[2] / sums[3]:.2f} "
                f"heard {heard / 3600:.0f} h, rate {optimiser.param_groups[0]['lr']:.1e}, waited {waited:.0f} s, bad {int((~good).sum())}/{len(good)}")
            sums[:], last_log = 0, time.time()
        if time.time() - last_save > every[2]:
            save()
            judged()
            last_save = time.time()
        if time.time() - last_poll > every[1]:
            last_poll = time.time()
            if clips.take_in(folder):
                for w in workers:
                    w.terminate()
                queue, workers = start_workers()
                log("rows now", len(clips.rows))
    for w in workers:
        w.terminate()
    save()
    if state_file:
        torch.save(dict(network=network.state_dict(), average=average, optimiser=optimiser.state_dict(), overall=overall, step=step, heard=heard), state_file)
    judged()
    log("steps", step, f"heard {heard / 3600:.0f} h")
    os._exit(0)


if __name__ == "__main__":
    main()
