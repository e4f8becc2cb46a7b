"""Packs of recordings: one Ogg file (Opus), and beside it JSON rows of [start, length, words, speaker, source].

    packs.py real OUT MANIFEST... -- EVALUATION...    clips of manifests (path, speaker, transcript, source; optional
                                      offset_samples, length_samples); the speakers of the manifests after -- are left out
    packs.py long OUT MANIFEST... -- EVALUATION...    the same for hours of speech: Vorbis, which is written many times faster
    packs.py noise OUT FOLDER...      recordings of noise (first 20 s of each, made equally loud; one in five is held back)
    packs.py machines OUT COUNT SEED [TEXT...]   the older kind of synthetic voice (flite, espeak-ng)
"""
import csv
import hashlib
import json
import random
import re
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import soundfile
from scipy.signal import resample_poly

RATE = 16_000


def write(out, name, clips, level=0.93, codec="OPUS"):
    """clips: (samples in +-1 at RATE, words, speaker, source), in packs of ten minutes. `level`: 0.93 of OPUS is about
    24 kbit/s, 0.8 of VORBIS 32."""
    part, some, long = 0, [], 0
    for clip in clips:
        some.append(clip)
        long += len(clip[0])
        if long > 600 * RATE:
            write_one(out, f"{name}_{part}", some, level, codec)
            part, some, long = part + 1, [], 0
    if some:
        write_one(out, f"{name}_{part}", some, level, codec)


def write_one(out, name, clips, level, codec="OPUS"):
    rows, at = [], 0
    Path(out).mkdir(parents=True, exist_ok=True)
    with soundfile.SoundFile(f"{out}/{name}.ogg", "w", RATE, 1, format="OGG", subtype=codec, compression_level=level) as file:
        for y, words, speaker, source in clips:
            y = np.asarray(y, "f4")
            rows.append([at, len(y), words, speaker, source])
            at += len(y)
            for i in range(0, len(y), RATE):
                file.write(y[i: i + RATE])
    Path(f"{out}/{name}.json").write_text(json.dumps(rows), encoding="utf-8")
    print(f"{name}: {len(rows)} clips, {at / RATE / 3600:.2f} h", flush=True)


def read(path):
    """Samples (int16) and rows of a pack."""
    sound, rate = soundfile.read(f"{path}.ogg", dtype="int16")
    assert rate == RATE
    return sound, json.loads(Path(f"{path}.json").read_text(encoding="utf-8"))


def loaded(path):
    y, rate = soundfile.read(path, dtype="float32")
    y = y.mean(1) if y.ndim > 1 else y
    return y if rate == RATE else resample_poly(y, RATE, rate).astype("f4")


def of_manifest(manifest, leave_out):
    with open(manifest, encoding="utf-8") as file:
        lines = list(csv.DictReader(file, delimiter="\t"))
    lines.sort(key=lambda r: (r["source"], r["path"]))
    packed = (None, None)
    for r in lines:
        if r["speaker"] in leave_out:
            continue
        if r.get("length_samples"):
            if packed[0] != r["path"]:
                packed = (r["path"], loaded(Path(manifest).parent / r["path"]))
            a = int(r["offset_samples"])
            y = packed[1][a: a + int(r["length_samples"])]
        else:
            y = loaded(Path(manifest).parent / r["path"])
        yield y, r["transcript"], r["speaker"], r["source"]


def trimmed(y):
    loud = np.nonzero(np.abs(y) > 0.02 * np.abs(y).max())[0]
    if len(loud) < 1600:
        return None
    y = y[max(0, loud[0] - 800): loud[-1] + 1600]
    return y / np.abs(y).max() * 0.6


def machine_clip(job):
    engine, voice, words, pitch, speed = job
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        if engine == "flite":
            command = ["flite", "-voice", voice, "--setf", f"duration_stretch={speed:.2f}", "--setf", f"int_f0_target_mean={pitch}", "-t", words, "-o", file.name]
        else:
            command = ["espeak-ng", "-v", voice, "-p", str(pitch), "-s", str(int(160 / speed)), "-w", file.name, words]
        subprocess.run(command, check=True, capture_output=True, timeout=60)
        y = trimmed(loaded(file.name))
    return None if y is None else (y, words, f"{engine}_{voice}_{pitch}", engine)


def machines(count, seed, texts):
    from sentences import Speaker, prose_of
    from words import dictionary
    dice, text, jobs = random.Random(seed), Speaker(seed, prose_of(texts, dictionary())), []
    for _ in range(count):
        speed = dice.uniform(0.8, 1.25)
        if dice.random() < 0.7:
            voice = dice.choice(["awb", "rms", "slt", "kal16"])
            jobs.append(("flite", voice, text.sentence(), dice.choice([90, 110, 130, 160, 190]), speed))
        else:
            voice = dice.choice(["en-us", "en-gb", "en-gb-x-rp", "en-gb-scotland"]) + dice.choice(["+m1", "+m3", "+f2", "+f4", "+m7", "+f1", ""])
            jobs.append(("espeak-ng", voice, text.sentence(), dice.randint(25, 75), speed))
    with ThreadPoolExecutor(2) as pool:
        yield from (clip for clip in pool.map(machine_clip, jobs) if clip is not None)


def held_back(name):
    """Whether a noise is kept for testing: one recording in five, all its pieces (a last -A, -B) together."""
    return int(hashlib.sha256(re.sub(r"-[A-Z]$", "", name).encode()).hexdigest(), 16) % 5 == 0


def noises(folders):
    for folder in folders:
        for path in sorted(Path(folder).rglob("*")):
            if path.suffix in (".opus", ".flac", ".wav", ".ogg") and not held_back(path.stem):
                y = loaded(path)[: 20 * RATE]
                yield np.clip(y / max(1e-4, float(np.sqrt((y ** 2).mean()))) * 0.05, -1, 1), "", path.stem, "noise"


if __name__ == "__main__":
    kind, out, *rest = sys.argv[1:]
    if kind in ("real", "long"):
        if "--" not in rest:
            sys.exit(f"packs.py {kind}: put -- and the manifests of the evaluation last, so that none of their speakers is trained on")
        training, evaluation = rest[: rest.index("--")], rest[rest.index("--") + 1:]
        left_out = set()
        for m in evaluation:
            with open(m, encoding="utf-8") as file:
                left_out |= {r["speaker"] for r in csv.DictReader(file, delimiter="\t")}
        for k, m in enumerate(training):
            if kind == "real":
                write(out, f"real{k}", of_manifest(m, left_out))
            else:
                write(out, f"long{k}", of_manifest(m, left_out), 0.8, "VORBIS")
    elif kind == "noise":
        write(out, "noise", noises(rest))
    elif kind == "machines":
        write(out, "machines", machines(int(rest[0]), int(rest[1]), rest[2:]))
    else:
        sys.exit(__doc__)
