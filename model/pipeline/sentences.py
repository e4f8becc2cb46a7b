"""What the made-up speakers say: numbers in every form a reading is said in, units, commands, spelling,
and ordinary sentences, so that the phones are learnt outside the small vocabulary too. Seeded: the same list each time.

    sentences.py COUNT SEED [TEXT...]    prints one sentence a line; TEXT are files with ordinary prose
"""
import random
import re
import sys
from pathlib import Path

DIGITS = "zero one two three four five six seven eight nine".split()
TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
UNITS = ("ohms ohms ohm kilohms kilohm megohms meg k milliamps milliamps milliamp amps amp volts volts volt millivolts "
         "percent percent degrees degree seconds seconds second minutes minute").split()
SPELLING = ("alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec "
            "romeo sierra tango uniform victor whiskey x-ray yankee zulu").split()
COMMANDS = """yes|no|yes|no|affirm|affirmative|negative|correct|incorrect|wrong|roger|copy|okay|say again|repeat|
read back|stand by|wait|wait one|go ahead|ready|next|go back|back|skip|disregard|cancel|correction|undo|stop|stop stop stop|
emergency|help|status|radio check|over|out|unable|done|note|speak slower|louder|confirm|hold|resume|pause|open|closed|shut|
fully open|fully closed|mid travel|open circuit|over limit|overload|over range|off scale|infinity|no reading|short circuit|
not stable|jumping around|drifting|no signal|not applicable|up|down|left|right|good|bad|clear|moving|start|save|delete|tag|
voltage|current|resistance|signal|position|wiper|track|pass|fail|on|off|go|close|double|triple|dash|slower|faster|again"""
COMMANDS = [c.strip() for c in COMMANDS.replace("\n", "").split("|")]

ANSWERS = "yes no stop affirm negative correct on off open closed".split()
WORDS = [w for w in (Path(__file__).resolve().parents[2] / "grammars" / "vocabulary.txt").read_text(encoding="utf-8").split() if w[0].isalpha()]


class Speaker:
    def __init__(self, seed, prose=()):
        self.dice = random.Random(seed)
        self.prose = list(prose)

    def below_hundred(self):
        d, r = self.dice, self.dice.random()
        if r < 0.25:
            return d.choice(DIGITS)
        if r < 0.5:
            return d.choice(TEENS)
        if r < 0.68:
            return d.choice(TENS)
        return d.choice(TENS) + " " + d.choice(DIGITS[1:])

    def cardinal(self):
        d, r = self.dice, self.dice.random()
        if r < 0.4:
            return self.below_hundred()
        hundreds = d.choice(DIGITS[1:]) + " hundred"
        if r < 0.5:
            return hundreds
        if r < 0.82:
            return hundreds + d.choice([" and ", " "]) + self.below_hundred()
        if r < 0.87:
            return d.choice(TEENS[1:]) + " hundred"
        thousands = d.choice([d.choice(DIGITS[1:]), self.below_hundred()]) + " thousand"
        if r < 0.92:
            return thousands
        return thousands + " " + d.choice([hundreds, "and " + self.below_hundred(), hundreds + " " + self.below_hundred()])

    def digits(self, n):
        d = self.dice
        said = []
        while len(said) < n:
            r = d.random()
            if r < 0.06:
                said.append("oh")
            elif r < 0.09:
                said.append("niner")
            elif r < 0.13 and n - len(said) >= 2:
                said += ["double", d.choice(DIGITS)]
            else:
                said.append(d.choice(DIGITS))
        return " ".join(said)

    def number(self):
        d, r = self.dice, self.dice.random()
        if r < 0.34:
            said = self.digits(d.choice([1, 2, 2, 3, 3, 3, 4, 4, 5, 6]))
        elif r < 0.62:
            said = self.cardinal()
        elif r < 0.68:
            said = d.choice(DIGITS[1:]) + " " + d.choice(TEENS + TENS)
        else:
            whole = d.choice([lambda: d.choice(DIGITS), self.below_hundred, self.cardinal, lambda: self.digits(2)])()
            mark = "point" if d.random() < 0.93 else "decimal"
            said = f"{whole} {mark} {self.digits(d.choice([1, 1, 2, 2, 2, 3]))}"
        return "minus " + said if d.random() < 0.08 else said

    def word(self):
        """One word alone: a digit, an answer or any of the vocabulary."""
        d = self.dice
        return d.choice(d.choice([DIGITS, DIGITS, DIGITS, ANSWERS, WORDS, WORDS]))

    def sentence(self):
        d, r = self.dice, self.dice.random()
        if d.random() < 0.22:
            return self.word()
        if d.random() < 0.16:
            return self.digits(d.choice([2, 3, 3, 4, 5]))
        if r < 0.50:
            said = self.number()
            if d.random() < 0.5:
                said += " " + d.choice(UNITS)
            if d.random() < 0.04:
                said += " correction " + self.number()
            return said
        if r < 0.66:
            return d.choice(COMMANDS)
        if r < 0.78 or not self.prose:
            said = " ".join(d.choice(SPELLING) for _ in range(d.choice([1, 1, 2, 2, 3])))
            return said + " " + self.digits(d.choice([2, 3, 4])) if d.random() < 0.45 else said
        return d.choice(self.prose)


def prose_of(paths, known):
    """Sentences and half sentences of ordinary prose whose every word is known."""
    found = []
    for path in paths:
        text = Path(path).read_text(encoding="utf-8", errors="ignore")
        for piece in re.split(r"[.;:!?\n(),|\"`#*=\[\]{}<>]+", text):
            words = re.sub(r"[^a-z' ]", " ", piece.lower()).split()
            while len(words) >= 2:
                take, words = words[:11], words[11:]
                if 2 <= len(take) and all(w in known for w in take):
                    found.append(" ".join(take))
    return sorted(set(found))


if __name__ == "__main__":
    from words import dictionary
    speaker = Speaker(int(sys.argv[2]), prose_of(sys.argv[3:], dictionary()))
    for _ in range(int(sys.argv[1])):
        print(speaker.sentence())
