#!/usr/bin/env python3
"""Prints how quickly the loop of ear and voice answers, in real time, and what it costs.

    cargo build --release && python3 benches/loop.py target/release/sayback [TRIALS [STARTS]]

With STARTS it only starts the program so many times, and counts the starts at which no voice was heard.

A sound server of its own (pulseaudio, pactl, parec, flac are needed) gives the program a microphone,
into which recordings are spoken at their own pace, and a loudspeaker, whose sound is recorded. Times
are those of the samples going in and coming out, so they hold the server's own delay, both ways.
"""
import array
import math
import os
import queue
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

PROGRAM = str(Path(sys.argv[1]).resolve())
TRIALS = int(sys.argv[2]) if len(sys.argv) > 2 else 30
STARTS = int(sys.argv[3]) if len(sys.argv) > 3 else 0
ROOT = Path(__file__).resolve().parent.parent
HOME = Path(tempfile.mkdtemp())
SOCKET = HOME / "native"
RATE = 16_000
ENVIRONMENT = {**os.environ, "HOME": str(HOME), "XDG_RUNTIME_DIR": str(HOME), "PULSE_SERVER": f"unix:{SOCKET}",
               "ALSA_CONFIG_PATH": f"/usr/share/alsa/alsa.conf:{HOME}/asound.conf"}
ENVIRONMENT.pop("DBUS_SESSION_BUS_ADDRESS", None)
# Sentences of the built-in jobs, so that there are clips for them.
JOB = """
format = 1
id = "loop"
title = "Loop"
purpose = "Asks for one reading."
applies-to = "Measurements."

[[step]]
id = "asked"
title = "Resistance"
ask = "ASK"
stage = "as-found"
kind = "reading"
unit = "ohm"
expect = ["0", "1200"]
"""


LONG = "Turn until the ohms leave zero and rise, then back to the lowest reading that repeats. Say done."
SHORT = "Short the probes. How many ohms?"


def loudness(samples):
    return math.sqrt(sum(s * s for s in samples) / max(1, len(samples)))


def clip(name):
    """A recording, and where its voice ends: the last 20 ms within 30 dB of the loudest."""
    raw = subprocess.run(["flac", "-dcs", "--force-raw-format", "--endian=little", "--sign=signed",
                          str(ROOT / "audio-fixtures/clips" / name)], capture_output=True, check=True).stdout
    samples = array.array("h", raw)
    levels = [loudness(samples[at:at + RATE // 50]) for at in range(0, len(samples), RATE // 50)]
    last = max(at for at, level in enumerate(levels) if level > max(levels) * 10 ** (-30 / 20))
    return samples, (last + 1) * RATE // 50


class Room:
    """A microphone in a quiet room; what is said is mixed in, and the time is kept at which its last sample went."""

    def __init__(self):
        self.to_say, self.said_at = queue.Queue(), queue.Queue()
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        noise, speech, end, at = random.Random(1), array.array("h"), 0, 0
        with open(HOME / "fifo", "wb", buffering=0) as pipe:
            begun, blocks, size = time.perf_counter(), 0, RATE // 50
            while True:
                if at >= len(speech) and not self.to_say.empty():
                    (speech, end), at = self.to_say.get(), 0
                block = array.array("h", (noise.randint(-30, 30) + (speech[at + n] if at + n < len(speech) else 0) for n in range(size)))
                pipe.write(block.tobytes())
                if at < end <= at + size:
                    self.said_at.put(time.perf_counter() - (at + size - end) / RATE)
                at += size
                blocks += 1
                late = time.perf_counter() - begun - blocks / 50
                if late > 1:
                    # Nobody has listened for a while: it goes on from here, and not all at once.
                    begun += late
                time.sleep(max(0, -late))

    def say(self, recording):
        self.to_say.put(recording)
        return self.said_at.get(timeout=20)


class Loudspeaker:
    """What comes out: for each 10 ms, when it came and how loud it was."""

    def __init__(self):
        self.blocks = []
        self.child = subprocess.Popen(["parec", "--device=heard.monitor", "--format=s16le", "--rate=16000", "--channels=1", "--latency-msec=10", "--raw"],
                                      env=ENVIRONMENT, stdout=subprocess.PIPE, bufsize=0)
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        rest = b""
        while data := self.child.stdout.read(320 - len(rest)):
            rest += data
            if len(rest) == 320:
                self.blocks.append((time.perf_counter(), loudness(array.array("h", rest)) > 100))
                rest = b""

    def loud_since(self, when, limit=15.0):
        """The time of the first sound after `when`."""
        until = time.perf_counter() + limit
        while time.perf_counter() < until:
            found = [at for at, loud in self.blocks[-1500:] if loud and at >= when]
            if found:
                return found[0]
            time.sleep(0.005)
        return None

    def quiet_for(self, seconds, limit=30.0):
        until = time.perf_counter() + limit
        while time.perf_counter() < until:
            now = time.perf_counter()
            if not any(loud for at, loud in self.blocks[-int(seconds * 100) - 20:] if at > now - seconds):
                return
            time.sleep(0.01)

    def last_sound(self, since):
        return max((at for at, loud in self.blocks[-3000:] if loud and at >= since), default=since)


class Sayback:
    def __init__(self, job, *options):
        path = HOME / "loop.toml"
        path.write_text(job)
        self.lines = []
        self.child = subprocess.Popen([PROGRAM, "run", str(path), "--plain", "--runs", str(HOME / "runs"), *options],
                                      env=ENVIRONMENT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, bufsize=1)
        threading.Thread(target=self.run, daemon=True).start()

    def run(self):
        for line in self.child.stdout:
            self.lines.append((time.perf_counter(), line.rstrip()))

    def seen(self, what, since, limit=10.0):
        until = time.perf_counter() + limit
        while time.perf_counter() < until:
            for at, line in self.lines:
                if at >= since and what in line:
                    return at
            time.sleep(0.005)
        return None

    def type(self, line):
        self.child.stdin.write(line + "\n")
        return time.perf_counter()

    def processor(self):
        """Seconds of processor of all the program and of each thread: fields 14 and 15 of stat (proc(5)), in hundredths."""
        def seconds(folder):
            name, fields = (folder / "stat").read_text().split("(", 1)[1].rsplit(")", 1)
            fields = fields.split()
            return name, (int(fields[11]) + int(fields[12])) / 100
        process = Path(f"/proc/{self.child.pid}")
        used = dict(seconds(thread) for thread in (process / "task").iterdir())
        return {**used, "all": seconds(process)[1]}

    def share(self, seconds, meanwhile=lambda: None):
        """Shares of one core: all of the program, its ear's thread, its voice's thread."""
        before, begun = self.processor(), time.perf_counter()
        while time.perf_counter() < begun + seconds:
            meanwhile()
            time.sleep(0.1)
        after, took = self.processor(), time.perf_counter() - begun
        return [(after.get(name, 0) - before.get(name, 0)) / took * 100 for name in ("all", "ear", "voice")]

    def end(self):
        self.child.kill()
        self.child.wait()


def say(what, values, unit):
    values = sorted(values)
    if not values:
        return print(f"{what}\tno value")
    late = values[min(len(values) - 1, math.ceil(len(values) * 0.95) - 1)]
    print(f"{what}\tmedian {statistics.median(values):.2f} {unit}\t95th percentile {late:.2f} {unit}\tn {len(values)}", flush=True)


def shares(what, rows):
    for name, column in (("all of the program", 0), ("the ear's thread", 1), ("the voice's thread", 2)):
        values = [row[column] for row in rows]
        print(f"{what}, {name}\tmedian {statistics.median(values):.1f} % of a core\t{min(values):.1f} to {max(values):.1f}\tn {len(values)} of 10 s", flush=True)


def main():
    room_conf = "".join(f'pcm.{name} {{ type pulse server "unix:{SOCKET}" device "{device}" hint {{ show on description "{name}" }} }}\n'
                        for name, device in (("loop_room", "known"), ("loop_speaker", "heard")))
    (HOME / "asound.conf").write_text(room_conf)
    server = subprocess.Popen(["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "-L",
                               f"module-native-protocol-unix auth-anonymous=1 socket={SOCKET}"],
                              env=ENVIRONMENT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    control = lambda *words: subprocess.run(["pactl", *words], env=ENVIRONMENT, capture_output=True).returncode
    while control("info"):
        time.sleep(0.1)
    control("load-module", "module-pipe-source", "source_name=known", f"file={HOME}/fifo", "format=s16le", "rate=16000", "channels=1")
    control("load-module", "module-null-sink", "sink_name=heard", "rate=48000", "channels=1")
    room, loudspeaker = Room(), Loudspeaker()
    devices = ["--microphone", "loop_room", "--loudspeaker", "loop_speaker", "--aloud"]
    print(f"# {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, load at the end below", flush=True)
    try:
        starts(loudspeaker, devices) if STARTS else measure(room, loudspeaker, devices)
    finally:
        print(f"# load {os.getloadavg()[0]:.1f}")
        loudspeaker.child.kill()
        server.kill()


def measure(room, loudspeaker, devices):
    program = Sayback(JOB.replace("ASK", SHORT), *devices)
    values = [clip(name) for name in ("number-ohms.flac", "number-hundred.flac", "number-plain.flac")]
    if not program.seen("mic: OPEN", 0, 60):
        sys.exit("the microphone did not open:\n" + "\n".join(line for _, line in program.lines))
    # The loudspeaker is opened by the first sentence, which takes the sound server its time.
    warm_up(program, loudspeaker)
    answered, decided, cut, other = [], [], [], 0
    for trial in range(TRIALS * 2):
        loudspeaker.quiet_for(1.0)
        # At any place between two looks of the thread.
        time.sleep(random.random() * 0.1)
        ended = room.say(values[trial % len(values)])
        first = loudspeaker.loud_since(ended)
        shown = program.seen("Enter = yes, keep", ended, 1.0)
        if first is None or shown is None:
            other += 1
            program.type("/")
            loudspeaker.loud_since(program.type("0"), 5.0)
            continue
        answered.append(first - ended)
        decided.append(shown - ended)
        time.sleep(0.5 + random.random() * 0.5)
        typed = program.type("/")
        time.sleep(0.6)
        cut.append(max(0.0, loudspeaker.last_sound(typed) - typed) * 1000)
        # The question comes again, and is to be over before the next answer.
        loudspeaker.loud_since(program.type("0"), 5.0)
        if len(answered) == TRIALS:
            break
    say("end of speech to the first sound of the read-back", answered, "s")
    say("of it, to the line of text that shows the value: gate, ear, core, and the microphone's way", decided, "s")
    print(f"\tnot counted, since they were not understood: {other}")
    say("key to silence of the loudspeaker", cut, "ms")
    loudspeaker.quiet_for(1.0)
    shares("listening, nobody speaks, sound server", [program.share(10) for _ in range(5)])
    again = again_of(program, loudspeaker)
    shares("speaking all the time, ear deaf meanwhile", [program.share(10, again) for _ in range(5)])
    program.end()

    program = Sayback(JOB.replace("ASK", LONG), *devices[2:], "--keypad")
    program.seen("Keys:", 0, 10)
    warm_up(program, loudspeaker)
    loudspeaker.quiet_for(1.0)
    shares("keypad, silent", [program.share(10) for _ in range(3)])
    shares("keypad, speaking all the time", [program.share(10, again_of(program, loudspeaker)) for _ in range(5)])
    program.end()

    # A stop word while it speaks: with a headset.
    program = Sayback(JOB.replace("ASK", LONG), *devices, "--headset")
    program.seen("mic: OPEN", 0, 60)
    warm_up(program, loudspeaker)
    stop, stopped, missed = clip("stop.flac"), [], 0
    for _ in range(max(10, TRIALS // 2)):
        loudspeaker.quiet_for(1.0)
        program.type("+")
        time.sleep(0.3)
        ended = room.say(stop)
        at = program.seen("STOPPED", ended - 0.2, 4.0)
        if at is None:
            missed += 1
        else:
            stopped.append(at - ended)
            time.sleep(0.3)
            program.type("")
            program.seen("ASK", at, 3.0)
    say("end of a stop word to the state STOPPED, headset", stopped, "s")
    print(f"\tnot heard: {missed}")
    program.end()

    silence = HOME / "silence.wav"
    import wave
    with wave.open(str(silence), "wb") as out:
        out.setnchannels(1), out.setsampwidth(2), out.setframerate(RATE)
        noise = random.Random(2)
        out.writeframes(array.array("h", (noise.randint(-30, 30) for _ in range(RATE * 60))).tobytes())
    program = Sayback(JOB.replace("ASK", LONG), "--recording", str(silence))
    time.sleep(4)
    shares("listening, nobody speaks, a file at its own pace", [program.share(10) for _ in range(4)])
    program.end()


def starts(loudspeaker, devices):
    """Starts it again and again: how soon the first question is heard, and how often it is not."""
    heard, silent = [], 0
    for _ in range(STARTS):
        loudspeaker.quiet_for(0.6)
        begun = time.perf_counter()
        program = Sayback(JOB.replace("ASK", SHORT), *devices)
        first = loudspeaker.loud_since(begun, 12.0)
        if first is None:
            silent += 1
            print("no voice within 12 s:", *(line for _, line in program.lines), sep="\n\t", flush=True)
        else:
            heard.append(first - begun)
        time.sleep(0.3)
        program.end()
    say("start of the program to the first sound of its first question", heard, "s")
    print(f"\tstarts without a voice: {silent} of {STARTS}")


def warm_up(program, loudspeaker):
    for _ in range(6):
        typed = program.type("+")
        if loudspeaker.loud_since(typed, 6.0):
            return
    sys.exit("no voice:\n" + "\n".join(line for _, line in program.lines))


def again_of(program, loudspeaker):
    """Has it said again, each time that it is silent."""
    asked = [0.0]

    def again():
        now = time.perf_counter()
        if now - asked[0] > 2.0 and not any(loud for _, loud in loudspeaker.blocks[-60:]):
            asked[0] = now
            program.type("+")
    return again


main()
