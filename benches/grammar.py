"""The grammars of questions for recognisers that have none of their own, and free text in the grammar's words.

    grammar.py GRAMMAR.fsg CASES.tsv    each line: words, tab, yes or no; exit code 1 where it is not so
"""
import re
import sys

DIGITS = "zero one two three four five six seven eight nine".split()
SIGNS = {"%": "percent", "°": "degrees", "ma": "milliamps", "ω": "ohms", "kω": "k", "v": "volts", "mv": "millivolts",
         "ok": "okay", "xray": "x-ray", "alfa": "alpha", "juliett": "juliet", "whisky": "whiskey"}


class Grammar:
    """What `sayback hear --fsg` prints: a finite state grammar in the text form of the Sphinx recognisers."""

    def __init__(self, text):
        self.ways, self.words = {}, set()
        for line in text.splitlines():
            head, *rest = line.split()
            if head == "START_STATE":
                self.start = rest[0]
            elif head == "FINAL_STATE":
                self.end = rest[0]
            elif head == "TRANSITION":
                state, to, _, *word = rest
                self.ways.setdefault(state, []).append((word[0] if word else None, to))
                self.words |= set(word)

    def _resting(self, states):
        seen, waiting = set(), list(states)
        while waiting:
            state = waiting.pop()
            if state not in seen:
                seen.add(state)
                waiting += [to for word, to in self.ways.get(state, []) if word is None]
        return seen

    def accepts(self, words):
        """Whether these words are a whole sentence of it.

        >>> ways = "0 1 1.0 one", "0 1 1.0 two", "1 0 1.0", "1 2 1.0"
        >>> digits = Grammar("\\n".join(["START_STATE 0", "FINAL_STATE 2", *(f"TRANSITION {way}" for way in ways)]))
        >>> [digits.accepts(words.split()) for words in ("one two", "one", "", "one three")]
        [True, True, False, False]
        """
        here = self._resting([self.start])
        for said in words:
            here = self._resting(to for state in here for word, to in self.ways.get(state, []) if word == said)
        return self.end in here


def spelled_out(text):
    """Free text as a technician would have said it: figures digit by digit, a point as "point". Nothing is guessed.

    >>> spelled_out("4.02 mA.")
    'four point zero two milliamps'
    >>> spelled_out("5, 1, 2")
    'five one two'
    >>> spelled_out("Minus 12,000 Ohms!"), spelled_out("-3")
    ('minus one two zero zero zero ohms', 'minus three')
    >>> spelled_out("X-ray, 555-0199"), spelled_out("Say again?")
    ('x-ray five five five zero one nine nine', 'say again')
    """
    text = text.lower().replace("-ray", "RAY")
    text = re.sub(r"(?<=\d),(?=\d{3})", "", text)
    text = re.sub(r"(?<=\d)\.(?=\d)|(?<![\d\w])\.(?=\d)", " point ", text)
    text = re.sub(r"(?<![\w])-(?=\d)", " minus ", text)
    text = re.sub(r"\d", lambda digit: f" {DIGITS[int(digit[0])]} ", text)
    words = re.sub(r"([%°])", r" \1 ", re.sub(r"[^\w%°'ΩRAY]", " ", text)).split()
    return " ".join(SIGNS.get(word, word) for word in words).replace("RAY", "-ray")


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as grammar, open(sys.argv[2], encoding="utf-8") as cases:
        read = Grammar(grammar.read())
        rows = [line.rstrip("\n").split("\t") for line in cases]
    off = [words for words, is_one in rows if read.accepts(words.split()) != (is_one == "yes")]
    print(f"{len(rows)} sentences, {len(off)} off", *off, sep="\n")
    sys.exit(bool(off) or not rows)
