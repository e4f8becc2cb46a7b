"""Cuts the long recordings of packs where their speakers pause: a trained network says when each word was said.

    cut.py NETWORK.pt PACK.json...

Only the rows of the packs are written anew. A row becomes pieces of at most seven seconds; words of the vocabulary that stand
alone between two pauses get a row of their own as well. Recordings that the network finds least likely to be what they are
said to be are left out, and pieces with a word that the dictionary lacks.
"""
import json
import re
import sys
from pathlib import Path

import numpy as np
import torch

from features import Cepstra, online_mean
from network import Network
from packs import RATE, read
from words import CLASSES, dictionary, words_of

FRAME = 480                # samples of one answer of the network
PAUSE = 4                  # frames of silence between words at which a sentence may be cut
APART = 2                  # frames of silence on both sides of a word that stands alone
LONGEST = 7 * RATE
MARGIN = 5                 # frames of silence left around what is cut, at most
WORST = -1.5               # log likelihood a frame, against any row of phones
NUMBER = {c: k for k, c in enumerate(CLASSES)}
NOT = -1e30
# A word that the dictionary lacks is followed by the sounds of its letters.
LETTERS = dict(zip("abcdefghijklmnopqrstuvwxyz", "AE B K D EH F G HH IH JH K L M N AA P K R S T AH V W K IY Z".split()))


class Ear:
    def __init__(self, path):
        saved = torch.load(path, map_location="cpu", weights_only=False)
        self.cepstra, self.overall = Cepstra(**saved["config"]["cepstra"]), saved["overall"].float()
        self.network = Network(saved["config"]["shape"]).eval()
        self.network.load_state_dict({k: v.float() for k, v in saved["network"].items()})

    @torch.no_grad()
    def answers(self, y):
        """Samples (16-bit) -> scores [frames, outputs]. The level is made even first."""
        y = y.astype("f4") / max(1.0, float(np.abs(y).max())) * 10_000
        x = self.cepstra(torch.from_numpy(np.concatenate([y, np.zeros(FRAME, "f4")]))[None])
        return self.network(x - online_mean(x, self.overall))[0].numpy()


def align(scores, words):
    """-> (first frame, frame after the last) of each word, and log likelihood a frame against any row of phones; None if too short."""
    classes, skip, owner = [0], [True], [-1]
    for k, word in enumerate(words):
        for phone in dictionary()[word][0] if word in dictionary() else [LETTERS[c] for c in word if c in LETTERS]:
            classes.append(NUMBER[phone])
            skip.append(False)
            owner.append(k)
        classes.append(0)
        skip.append(True)
        owner.append(-1)
    classes, skip = np.array(classes), np.array(skip)
    enter, stay = scores[:, 2 * classes], scores[:, 2 * classes + 1]
    frames, states = enter.shape
    best = np.full(states + 2, NOT)                        # two before the first, so that none is out of reach
    best[2], best[3] = enter[0, 0], enter[0, 1]
    back = np.zeros((frames, states), np.int64)
    over = np.full(states, NOT)
    over[2:][skip[1:-1]] = 0.0
    ways = np.empty((3, states))
    for t in range(1, frames):
        np.add(best[2:], stay[t], out=ways[0])
        np.add(best[1:-1], enter[t], out=ways[1])
        np.add(best[:-2] + over, enter[t], out=ways[2])
        back[t] = ways.argmax(0)
        best[2:] = ways.max(0)
    at = states - 1 if best[-1] > best[-2] else states - 2
    said = best[2 + at]
    if said < NOT / 2:
        return None
    path = np.zeros(frames, np.int64)
    for t in range(frames - 1, -1, -1):
        path[t] = at
        at -= back[t, at]
    anything = scores[0, 0::2].copy()
    for t in range(1, frames):
        anything = np.maximum(anything + scores[t, 1::2], anything.max() + scores[t, 0::2])
    owner = np.array(owner)[path]
    times = [(int(np.argmax(owner == k)), frames - int(np.argmax(owner[::-1] == k))) for k in range(len(words))]
    return times, float(said - anything.max()) / frames


def pieces(times):
    """Groups of words (first, after the last) with pauses between them, as long as they may be."""
    groups, first, last = [], 0, None
    for end in range(1, len(times) + 1):
        if end < len(times) and times[end][0] - times[end - 1][1] < PAUSE:
            continue
        if last is not None and (times[end - 1][1] - times[first][0] + 2 * MARGIN) * FRAME > LONGEST:
            groups.append((first, last))
            first = last
        last = end
    return [*groups, (first, last)]


def part(length, times, first, after):
    """Where some words are (start, length), with up to MARGIN frames of the pauses around them, never more than half."""
    before = times[first][0] if first == 0 else (times[first][0] - times[first - 1][1]) // 2
    behind = length // FRAME - times[after - 1][1] if after == len(times) else (times[after][0] - times[after - 1][1]) // 2
    start = (times[first][0] - min(MARGIN, before)) * FRAME
    return start, min(length, (times[after - 1][1] + max(0, min(MARGIN, behind))) * FRAME) - start


def cut(ear, sound, rows, vocabulary):
    """Rows of a pack -> rows of pieces and of single words, and how many were kept or not."""
    new, counts = [], dict(whole=0, pieces=0, words=0, unknown=0, unlikely=0, long=0)
    for at, length, text, speaker, source in rows:
        words = words_of(text) or re.findall("[a-z']+", text.lower())
        scores = ear.answers(sound[at: at + length])
        found = align(scores, words) if words else None
        if found is None or found[1] < WORST:
            counts["unlikely"] += 1
            continue
        times, _ = found
        counts["whole"] += 1
        for first, after in pieces(times):
            start, long = part(length, times, first, after)
            if any(w not in dictionary() for w in words[first:after]):
                counts["unknown"] += 1
            elif long > LONGEST + RATE:
                counts["long"] += 1
            elif after - first > 1:
                counts["pieces"] += 1
                new.append([at + start, long, " ".join(words[first:after]), speaker, source])
        for k, word in enumerate(words):
            alone = (k == 0 or times[k][0] - times[k - 1][1] >= APART) and (k + 1 == len(words) or times[k + 1][0] - times[k][1] >= APART)
            if alone and word in vocabulary:
                counts["words"] += 1
                start, long = part(length, times, k, k + 1)
                new.append([at + start, long, word, speaker, source])
    return new, counts


def main():
    torch.set_num_threads(1)
    vocabulary = set((Path(__file__).resolve().parents[2] / "grammars" / "vocabulary.txt").read_text(encoding="utf-8").split())
    ear = Ear(sys.argv[1])
    for name in sys.argv[2:]:
        sound, rows = read(Path(name).with_suffix(""))
        rows, counts = cut(ear, sound, rows, vocabulary)
        Path(name).write_text(json.dumps(rows), encoding="utf-8")
        print(name, counts, flush=True)


if __name__ == "__main__":
    main()
