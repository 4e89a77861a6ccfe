#!/usr/bin/env python3
"""Kills the real program at random moments, and looks at what is left.

Each run starts on a job of about a megabyte and is sent a signal at a moment drawn evenly from the
time that runs take, and a tenth more. Then the job must be the old one or the new one, byte for
byte; after SIGTERM and SIGINT no temporary file may lie about; and the next run, left alone, must
succeed. A quarter of the runs rewrites a job, a quarter does so as a hook, with its check and its
page, a quarter rewrites it anew by other rules, a quarter restores it. Half are sent SIGKILL, the
others SIGTERM or SIGINT.

Usage: kill_sweep.py FOREWARM RUNS [--seed N] [--size BYTES]"""
import argparse
import collections
import concurrent.futures
import hashlib
import multiprocessing
import os
import pathlib
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time

import faults_help as common

WORKERS = 2
SIGNALS = (signal.SIGKILL, signal.SIGKILL, signal.SIGTERM, signal.SIGINT)


class Bench:
    """A folder in which one worker runs the program, and what its runs are of."""

    def __init__(self, program, size):
        self.program = program
        self.top = tempfile.TemporaryDirectory(prefix="forewarm-kills-")
        self.folder = pathlib.Path(self.top.name).resolve()
        self.job = self.folder / "job.gcode"
        self.environment = common.environment(self.folder)
        demo = common.DEMO.read_text()
        other = demo.replace('policy = "lookahead"', 'policy = "hold"')
        assert other != demo
        (self.folder / "demo.toml").write_text(demo)
        (self.folder / "other.toml").write_text(other)
        original = common.make_job(self.job, size)
        rewritten = self.by_hand(original, "rewrite", "--rules", "demo.toml")
        anew = self.by_hand(original, "rewrite", "--rules", "other.toml")
        assert len({original, rewritten, anew}) == 3
        rewrite = ("rewrite", "-q", "--rules", "demo.toml", "job.gcode")
        self.kinds = {
            "rewrite": (rewrite, original, rewritten),
            "hook": (("rewrite", "--hook", *rewrite[1:]), original, rewritten),
            "rewrite anew": (("rewrite", "-q", "--rules", "other.toml", "job.gcode"), rewritten, anew),
            "restore": (("restore", "-q", "job.gcode"), rewritten, original),
        }
        self.digests = {data: self.digest(data) for _, old, new in self.kinds.values()
                        for data in (old, new)}
        # What an undisturbed run took, the last few times.
        self.took_s = {kind: collections.deque(maxlen=15) for kind in self.kinds}
        for kind in self.kinds:
            for _ in range(3):
                wrong = self.undisturbed(kind)
                if wrong:
                    sys.exit(f"kill_sweep: {wrong}")

    @staticmethod
    def digest(data):
        return hashlib.blake2b(data).digest()

    def by_hand(self, data, *words):
        done = common.run([self.program, *words, "-q", "-", "-o", "-"], self.folder, input=data, stdin=None)
        if done.returncode != 0:
            sys.exit(f"kill_sweep: {done.stderr.decode()}")
        return done.stdout

    def start(self, kind):
        # Only to stderr does a run say anything.
        return subprocess.Popen([self.program, *self.kinds[kind][0]], cwd=self.folder,
                                env=self.environment, stdin=subprocess.DEVNULL,
                                stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)

    def undisturbed(self, kind, put=True):
        """From the old job or, `put` off, from whatever was left to the new one."""
        _, old, new = self.kinds[kind]
        if put:
            self.job.write_bytes(old)
        begin = time.monotonic()
        process = self.start(kind)
        said = process.communicate(timeout=300)[1].decode(errors="replace")
        self.took_s[kind].append(time.monotonic() - begin)
        if process.returncode != 0 or self.state(new, new) != "new":
            return f"{kind}: an undisturbed run ends with exit {process.returncode}: {said}"
        return None

    def state(self, old, new):
        found = self.digest(self.job.read_bytes())
        return ("new" if found == self.digests[new] else "old" if found == self.digests[old] else
                "neither")

    def kill(self, kind, number, share):
        _, old, new = self.kinds[kind]
        self.job.write_bytes(old)
        wait_s = share * 1.1 * statistics.median(self.took_s[kind])
        process = self.start(kind)
        time.sleep(wait_s)
        # Not there any more: it is a zombie until it is waited for, so this hits no other.
        os.kill(process.pid, number)
        said = process.communicate(timeout=300)[1].decode(errors="replace")
        code = process.returncode
        state = self.state(old, new)
        left = common.litter(self.folder)
        killed = code == -number
        counts = collections.Counter({"runs": 1, f"sent {number.name}": 1})
        if killed:
            counts.update({f"{number.name} in time": 1, f"{number.name} {state}": 1,
                           f"{number.name} litter": len(left)})
        wrong = None
        if state == "neither":
            wrong = "the job is neither the old nor the new one"
        elif not killed and (code != 0 or state != "new"):
            wrong = f"exit {code}, and the job is {state}: {said}"
        # A hook writes its page when the new job is complete, and not yet in place.
        elif len(left) > (killed and number == signal.SIGKILL) * (2 if kind == "hook" else 1):
            wrong = f"left lying about: {left}"
        else:
            # With the litter still there. An original cannot be restored once more.
            then = "rewrite" if (kind, state) == ("restore", "new") else kind
            wrong = self.undisturbed(then, put=False)
            if not wrong and common.litter(self.folder) != left:
                wrong = "the next run left something of its own, or took what is not its own"
        common.sweep(self.folder)
        return counts, wrong and f"{kind}, {number.name} after {1000 * wait_s:.2f} ms: {wrong}"


def work(program, size, runs, seed):
    common.signals_as_usual()
    bench = Bench(program, size)
    draw = random.Random(seed)
    counts, wrong = collections.Counter(), []
    for _ in range(runs):
        kind = draw.choice(("rewrite", "hook", "rewrite anew", "restore"))
        more, what = bench.kill(kind, draw.choice(SIGNALS), draw.random())
        counts.update(more)
        if what:
            wrong.append(what)
    return counts, wrong, {k: statistics.median(v) for k, v in bench.took_s.items()}


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("Usage")[0],
                                     formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program", type=os.path.abspath)
    parser.add_argument("runs", type=int)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6),
                        help="decides what is run, and at which share of the usual time it is killed")
    parser.add_argument("--size", type=int, default=1_000_000, help="of the job, in bytes")
    options = parser.parse_args()
    print(f"seed {options.seed}, {options.runs} runs", flush=True)
    share = [options.runs // WORKERS + (i < options.runs % WORKERS) for i in range(WORKERS)]
    counts, wrong, took_s = collections.Counter(), [], {}
    # Begun anew, not forked: no worker shares anything with another.
    with concurrent.futures.ProcessPoolExecutor(WORKERS, multiprocessing.get_context("spawn")) as pool:
        for future in [pool.submit(work, options.program, options.size, share[i], options.seed * WORKERS + i)
                       for i in range(WORKERS)]:
            more, what, took_s = future.result()
            counts.update(more)
            wrong += what
    print("an undisturbed run takes " +
          ", ".join(f"{1000 * s:.1f} ms ({kind})" for kind, s in took_s.items()))
    print(f"{'signal':10}{'sent':>8}{'in time':>10}{'left old':>10}{'left new':>10}{'litter':>10}")
    names = list(dict.fromkeys(number.name for number in SIGNALS))
    for name in names:
        print(f"{name:10}" + f"{counts['sent ' + name]:8}" + "".join(
            f"{counts[f'{name} {what}']:10}" for what in ("in time", "old", "new", "litter")))
    print(f"{'all':10}{counts['runs']:8}" + "".join(
        f"{sum(counts[f'{name} {what}'] for name in names):10}"
        for what in ("in time", "old", "new", "litter")))
    for what in wrong:
        print("WRONG:", what)
    print("every job was the old or the new one" if not wrong else f"{len(wrong)} runs went wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
