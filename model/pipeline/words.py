"""    words.py OUT      writes the dictionary that is built into the program

Pronunciations: the CMU pronouncing dictionary (as the PyPI wheel `pocketsphinx` carries it), without stress and tones,
39 ARPAbet phones, and what technicians say that it lacks or says otherwise."""
import functools
import re
import sys
import zlib
from pathlib import Path

PHONES = ("AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH").split()
# Acoustic classes, in the order of the network's outputs: silence, other noise of people, then the phones.
CLASSES = ["SIL", "SPN", *PHONES]

# Ours wholly: these replace the dictionary's. Several ways of saying a word are divided by "/".
OWN = {
    "a": "AH / EY", "alfa": "AE L F AH", "alpha": "AE L F AH", "amp": "AE M P", "amps": "AE M P S", "affirm": "AH F ER M",
    "and": "AE N D / AH N D / AH N / AE N", "current": "K ER AH N T / K ER N T", "farad": "F EH R AH D",
    "four": "F AO R / F OW R / F AO", "hertz": "HH ER T S", "hundred": "HH AH N D R AH D / HH AH N D ER D / HH AH N D R IH D",
    "infinity": "IH N F IH N AH T IY", "juliet": "JH UW L IY EH T / JH UW L Y EH T", "juliett": "JH UW L IY EH T", "k": "K EY",
    "kilohm": "K IH L OW M / K IH L AH OW M", "kilohms": "K IH L OW M Z / K IH L AH OW M Z",
    "kilovolts": "K IH L OW V OW L T S / K IH L AH V OW L T S", "lima": "L IY M AH", "meg": "M EH G", "megohm": "M EH G OW M",
    "megohms": "M EH G OW M Z", "microamps": "M AY K R OW AE M P S", "milliamp": "M IH L IY AE M P / M IH L AE M P",
    "milliamps": "M IH L IY AE M P S / M IH L AE M P S", "milliseconds": "M IH L IY S EH K AH N D Z",
    "millivolt": "M IH L IY V OW L T / M IH L AH V OW L T", "millivolts": "M IH L IY V OW L T S / M IH L AH V OW L T S",
    "minute": "M IH N AH T", "niner": "N AY N ER", "ninety": "N AY N T IY / N AY N D IY", "oh": "OW", "ohm": "OW M", "ohms": "OW M Z",
    "okay": "OW K EY", "over": "OW V ER / OW V AH", "number": "N AH M B ER",
    "quebec": "K W AH B EH K / K EH B EH K / K AH B EH K / K W EH B EH K", "read": "R IY D / R EH D",
    "resume": "R IH Z UW M / R IY Z UW M", "seventy": "S EH V AH N T IY / S EH V AH N IY / S EH V AH N D IY",
    "status": "S T AE T AH S / S T EY T AH S", "thousand": "TH AW Z AH N D / TH AW Z AH N",
    "twenty": "T W EH N T IY / T W EH N IY", "thirty": "TH ER T IY / TH ER D IY", "forty": "F AO R T IY / F AO R D IY",
    "undo": "AH N D UW", "whiskey": "W IH S K IY", "x-ray": "EH K S R EY", "zero": "Z IH R OW / Z IY R OW",
    "zulu": "Z UW L UW", "wiper": "W AY P ER", "overload": "OW V ER L OW D", "disregard": "D IH S R IH G AA R D",
    "louder": "L AW D ER", "papa": "P AA P AH / P AH P AA", "victor": "V IH K T ER", "foxtrot": "F AA K S T R AA T",
    "three": "TH R IY / T R IY",
}


@functools.cache
def dictionary():
    """Word -> list of pronunciations (lists of phones)."""
    import pocketsphinx
    path = Path(pocketsphinx.__file__).parent / "model" / "en-us" / "cmudict-en-us.dict"
    words = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        head, *phones = line.split()
        known = words.setdefault(re.sub(r"\(\d+\)$", "", head), [])
        phones = [re.sub(r"\d", "", p) for p in phones]
        if phones not in known and all(p in PHONES for p in phones):
            known.append(phones)
    for word, ways in OWN.items():
        words[word] = [way.split() for way in ways.split("/")]
    return {w: p for w, p in words.items() if p}


def words_of(text):
    """The words of a transcript as the dictionary spells them; None if one of them is unknown."""
    known = dictionary()
    said = []
    for word in re.sub(r"[^a-z' -]", " ", text.lower()).split():
        word = word.strip("'-") or word.strip("-")
        if word in known:
            said.append(word)
        elif "-" in word and all(w in known for w in word.split("-")):
            said += word.split("-")
        elif word:
            return None
    return said


def write(path):
    """The dictionary as Sayback carries it, for words of a job's own: a word and its phones a line, in order, zlib."""
    lines = sorted(f"{word} {' '.join(phones)}" for word, ways in dictionary().items() for phones in ways
                   if re.fullmatch(r"[a-z][a-z'-]{0,23}", word))
    Path(path).write_bytes(zlib.compress("\n".join(lines).encode() + b"\n", 9))
    print(f"{len(lines)} lines, {Path(path).stat().st_size} bytes")


if __name__ == "__main__":
    write(sys.argv[1])
