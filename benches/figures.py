#!/usr/bin/env python3
"""Prints the figures of a release build: medians, with the number of runs.

    cargo build --release && python3 benches/figures.py target/release/sayback [RUNS]

Starts the program anew for each run, so that each figure holds the start of the process too.
"""
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

program = str(Path(sys.argv[1]).resolve())
count = int(sys.argv[2]) if len(sys.argv) > 2 else 11
root = Path(__file__).resolve().parent.parent
runs = tempfile.mkdtemp()


def first_question():
    begun = time.perf_counter()
    job = [program, "run", "centre-potentiometer", "--sheet", "audio-fixtures/demo-sheet.toml", "--keypad", "--plain", "--runs", runs]
    child = subprocess.Popen(job, cwd=root, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    for line in child.stdout:
        if line.rstrip().endswith("?"):
            break
    took = time.perf_counter() - begun
    status = Path(f"/proc/{child.pid}/status").read_text()
    resident = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmRSS"))
    child.stdin.close()
    child.wait()
    return took, resident / 1024


def whole(*arguments):
    begun = time.perf_counter()
    subprocess.run([program, *arguments], cwd=root, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, check=False)
    return time.perf_counter() - begun


CHOICE = """format = 1
id = "seal"
title = "Seal"
purpose = "To measure."
applies-to = "No actuator."
[[step]]
id = "seal"
title = "Seal"
ask = "How is the seal?"
stage = "as-found"
kind = "choice"
options = [{{ id = "a", title = "A", say = ["{}"] }}, {{ id = "b", title = "B", say = ["{}"] }}]
"""


def choice_heard(one, other):
    """Processor seconds of a job of one question that hears a recording of 1.3 s, and the most memory that it held, in MiB."""
    job = Path(runs) / "seal.toml"
    job.write_text(CHOICE.format(one, other), encoding="utf-8")
    hear = ["run", str(job), "--plain", "--fast", "--recording", "audio-fixtures/own-words/gasket-torn--af_kore.flac", "--runs", runs]
    child = subprocess.Popen([program, *hear], cwd=root, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def say(what, values, unit, factor=1000.0):
    print(f"{what}\t{statistics.median(values) * factor:.1f} {unit}\tmedian of {len(values)}")


questions = [first_question() for _ in range(count)]
say("start to first question, keypad", [took for took, _ in questions], "ms")
say("resident at the first question", [resident for _, resident in questions], "MiB", 1.0)
say("job load and check, whole process", [whole("check-job", "centre-potentiometer") for _ in range(count)], "ms")
say("471 phrases parsed, whole process", [whole("parse", "--table", "tests/spoken/more.tsv") for _ in range(count)], "ms")
if subprocess.run([program, "hear", "--help"], capture_output=True).returncode == 0:
    demo = ["run", "centre-potentiometer", "--sheet", "audio-fixtures/demo-sheet.toml", "--fast", "--plain", "--runs", runs]
    took = [whole(*demo, "--recording", "audio-fixtures/demo.flac") for _ in range(3)]
    say("whole job from the recording (218 s of sound)", took, "s", 1.0)
    for words, phrases in (("words of the vocabulary", ("fully open", "shut")), ("words of one's own", ("gasket torn", "bearing worn"))):
        heard = [choice_heard(*phrases) for _ in range(count)]
        say(f"one question with {words}, whole process", [took for took, _ in heard], "ms of processor time")
        say(f"most memory with {words}", [memory for _, memory in heard], "MiB", 1.0)
