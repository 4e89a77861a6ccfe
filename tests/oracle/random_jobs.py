#!/usr/bin/env python3
"""Makes random small jobs with rule files by seed, runs forewarm over each, and judges what comes of it.

For each seed: `rewrite`; what judge.py and the replay find in the rewrite; that rewriting it again and
restoring it give the bytes that they should; that lookahead waits no longer than holding, by the forecast and
by the replay; that the forecast's times are the replay's; that `check` finds nothing, with the original and
without.

Prints for each seed a line for each category of failure, with its first case, and then counts; exit 1 if there
is any. With --keep, SEED/found.txt has all cases, beside the job, its rules and what was made of it."""
import argparse
import collections
import json
import multiprocessing
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import tomllib
import traceback

from job_maker import Case
from judge import HABITS_S, Judged, clocks, waits_longer
from mapped import MappedJudged, as_rewrite_of, moved_job
from replay import Machine, Replay, lines_of, lines_of_rewrite

TIMEOUT_S = 60
# Why a job whose filaments move may be refused: rewrite/other-tools.md says so of the first; the rule file's limits are of the toolhead.
MAY_BE_REFUSED = ["it cannot be known for which filament", "an exchange at .* is above max_c"]


def deserved(message, job):
    """Whether a job, by its replay, deserves to be refused with this message."""
    if "the job has not given toolhead" in message:  # filament is fed or exchanged by a heater that is off
        started = [x for x in (*job.moves, *job.exchanges) if x.origin >= (job.first_print_origin or 0)]
        return any(x.target <= job.m.ambient for x in started)
    return False


class Run:
    """One seed, in a folder of its own."""

    def __init__(self, program, seed, folder, limits, odd, mapped, habits, make_up, pauses=False):
        self.program, self.folder = program, pathlib.Path(folder)
        self.habits, self.make_up, self.pauses = habits, make_up, pauses
        self.case = Case(seed, limits, odd or mapped, habits, make_up, pauses)
        self.found, self.refused = [], None
        self.share = 0  # by which what is made up for differs from the judge's, at the most
        self.lines = None  # of the job as it is with its filaments moved
        self.map = []
        if mapped and self.case.map:
            self.map = ["--force-map", "--map", ",".join(f"{a}={b}" for a, b in self.case.map.items())]
        for name, data in (("job.gcode", self.case.job), ("rules.toml", self.case.rules_text.encode()),
                           ("hold.toml", self.case.hold_text.encode()),
                           ("as_sliced.toml", self.case.as_sliced_text.encode()),
                           ("map.txt", " ".join(self.map).encode())):
            (self.folder / name).write_bytes(data)

    def call(self, command, *arguments):
        done = subprocess.run([self.program, command, "-q", *arguments], cwd=self.folder, capture_output=True,
                              timeout=TIMEOUT_S, stdin=subprocess.DEVNULL)
        return done.returncode, done.stdout, done.stderr.decode(errors="replace")

    def rewrite(self, job, rules, to):
        code, _, error = self.call("rewrite", "--rules", rules, *self.map, job, "-o", to)
        if code == 0:
            return (self.folder / to).read_bytes()
        message = re.sub(r"^forewarm: error: ", "", error.strip().split("\n")[0])
        message = re.sub(r"^[\w.]+(:\d+)*: ", "", message)
        general = re.sub(r'"[^"]*"', '"..."', re.sub(r"\d+(\.\d+)?", "N", message))
        if code == 3:
            self.refused = general
            if self.map and any(re.search(pattern, message) for pattern in MAY_BE_REFUSED):
                return None
            if not deserved(message, Replay(Machine(tomllib.loads(self.case.rules_text)), lines_of(self.case.job))):
                self.found.append(("refused", f"{rules}: {message}"))
        else:
            self.found.append(("rewrite-exit", f"{rules}: {code}: {message}"))
        return None

    def go(self):
        try:
            self.judge()
        except subprocess.TimeoutExpired as e:
            self.found.append(("timeout", " ".join(map(str, e.cmd[1:]))))
        except Exception:  # one seed must not take the others with it
            self.found.append(("tool-error", traceback.format_exc().strip().replace("\n", " | ")))
        return self.case.seed, self.found, self.refused

    def judge(self):
        rewritten = self.rewrite("job.gcode", "rules.toml", "out.gcode")
        if rewritten is None:
            return
        rules = tomllib.loads(self.case.rules_text)
        if rewritten == self.case.job:
            return  # nothing to plan
        judged = self.judged(rules, rewritten)
        if judged is None:
            return
        self.found += judged.all()
        self.share = max(getattr(judged, "judged", judged).shares, default=0)
        self.back(rewritten)
        self.waits(rules, getattr(judged, "judged", judged))
        self.check("job.gcode", "out.gcode")
        self.check("out.gcode")

    def judged(self, rules, rewritten):
        if b" ;fw+ mapped " not in rewritten:  # no filament that the job uses has moved
            return Judged(rules, self.case.job, rewritten)
        as_sliced = self.rewrite("job.gcode", "as_sliced.toml", "as_sliced.gcode")
        if as_sliced is None:
            return None
        self.lines = moved_job(as_sliced)
        return MappedJudged(rules, self.case.map, self.case.job, rewritten, as_sliced)

    def back(self, rewritten):
        code, _, error = self.call("restore", "out.gcode", "-o", "back.gcode")
        if code != 0:
            self.found.append(("restore", f"exit {code}: {error.strip()}"))
        elif (self.folder / "back.gcode").read_bytes() != self.case.job:
            self.found.append(("restore", "gives other bytes than the original's"))
        again = self.rewrite("out.gcode", "rules.toml", "again.gcode")
        if again is not None and again != rewritten:
            self.found.append(("again", "rewriting the rewrite gives other bytes"))

    def waits(self, rules, judged):
        code, out, error = self.call("forecast", "--json", "-", "--rules", "rules.toml", *self.map, "job.gcode")
        if code != 0:
            self.found.append(("forecast-exit", f"{code}: {error.strip()}"))
            return
        forecast = json.loads(out)
        ahead, hold = (forecast["policies"][p]["wait_s"] for p in ("lookahead", "hold"))
        # Over a pause lookahead lets cool what others hold, and waits for it.
        if self.pauses:
            self.found += clocks(judged, forecast, self.case.policy)
            return
        # Under a heating limit lookahead may have to wait where a policy that exceeds it does not.
        # Timers that leave a heater cold wait less where the job waits for it to cool.
        cools = re.search(rb"M109.* ?R", self.case.job, re.I)
        for policy in ("hold", "timers") if self.case.limits and not cools else ("hold",):
            other = forecast["policies"][policy]
            # What is hot for longer is made up for for longer, and others heat meanwhile.
            if self.make_up and forecast["policies"]["lookahead"]["duration_s"] <= other["duration_s"]:
                continue
            if ahead > other["wait_s"] + (HABITS_S if self.habits else 0.05) and other["over_limit_s"] == 0:
                self.found.append((f"forecast-over-{policy}", f"lookahead waits {ahead:.2f} s, {policy} {other['wait_s']:.2f} s"))
        # What waits, as under a heating limit, may be less hot than what does not, or more.
        for what, least in (("wait_s", 0.05),) if self.case.limits else (("wait_s", 0.05), ("hot_idle_s", 1)):
            at_best, ahead = forecast["bound"][what], forecast["policies"]["lookahead"][what]
            if ahead < at_best - least:
                self.found.append(("forecast-under-bound", f"{what}: {ahead:.1f}, the bound {at_best:.1f}"))
        ahead, hold = (forecast["policies"][p]["hot_idle_s"] for p in ("lookahead", "hold"))
        if ahead > hold + (1 + HABITS_S if self.habits else 1) and not self.case.limits:
            self.found.append(("forecast-hotter-than-hold", f"{ahead:.0f} s, hold {hold:.0f} s"))
        self.found += clocks(judged, forecast, self.case.policy)
        if self.case.policy != "lookahead" or self.case.limits:
            return
        held = self.rewrite("job.gcode", "hold.toml", "held.gcode")
        if held is not None:
            if self.lines is not None:
                held = as_rewrite_of(self.lines, held)[0]
            self.found += waits_longer(judged, Replay(judged.machine, lines_of_rewrite(held)[0]), self.habits)

    def check(self, *files):
        kind = "check" if len(files) == 2 else "check-alone"
        code, out, error = self.call("check", "--rules", "rules.toml", *files, "--json", "-")
        if code not in (0, 1):
            self.found.append((f"{kind}-exit", f"{code}: {error.strip()}"))
            return
        for finding in json.loads(out)["findings"]:
            if finding["id"] == "heating-limit" and self.case.policy != "lookahead":
                continue  # only lookahead keeps the limit
            self.found.append((f"{kind}:{finding['id']}", f"line {finding['line']}: {finding['message']}"))


def one(task):
    program, seed, limits, odd, mapped, habits, make_up, pauses, keep = task
    with tempfile.TemporaryDirectory(prefix="random-job-") as folder:
        run = Run(program, seed, folder, limits, odd, mapped, habits, make_up, pauses)
        result = (*run.go(), run.share)
        if keep and result[1]:
            place = pathlib.Path(keep) / str(seed)
            place.mkdir(parents=True, exist_ok=True)
            for path in pathlib.Path(folder).iterdir():
                (place / path.name).write_bytes(path.read_bytes())
            (place / "found.txt").write_text("".join(f"{c}: {d}\n" for c, d in result[1]))
    return result


def seeds_of(text):
    seeds = []
    for part in text.split(","):
        first, _, end = part.partition(":")
        seeds += range(int(first), int(end) if end else int(first) + 1)
    return seeds


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("program", help="the forewarm to be judged")
    p.add_argument("--seeds", type=seeds_of, default=range(60), metavar="SEEDS",
                   help="numbers, or FROM:TO, TO not included, with commas between")
    p.add_argument("--workers", type=int, default=os.cpu_count())
    p.add_argument("--keep", metavar="DIR", help="where to leave jobs that fail")
    p.add_argument("--limits", action="store_true", help="rule files with a heating_limit_w")
    p.add_argument("--odd", action="store_true", help="jobs with more uses that do not print, and waits for cooling")
    p.add_argument("--habits", action="store_true", help="rule files with what heaters and waits may do besides")
    p.add_argument("--make-up", action="store_true", help="rule files with steps for what oozes")
    p.add_argument("--pauses", action="store_true", help="jobs with pauses, over which no parked heater waits hot")
    p.add_argument("--map", action="store_true", help="such jobs, whose filaments move to random tools")
    p.add_argument("--only", metavar="PATTERN", help="categories that count, a regular expression")
    p.add_argument("--known", metavar="FILE", help="categories that do not: a pattern a line, then # and why")
    p.add_argument("--json", metavar="FILE", help="categories, their counts and least seeds")
    arguments = p.parse_args()
    program = str(pathlib.Path(arguments.program).resolve())
    known = []
    if arguments.known:
        lines = pathlib.Path(arguments.known).read_text().splitlines()
        known = [p for p in (line.split("#")[0].strip() for line in lines) if p]
    tasks = [(program, seed, arguments.limits, arguments.odd, arguments.map, arguments.habits,
              arguments.make_up, arguments.pauses, arguments.keep) for seed in arguments.seeds]
    counts, seeds, refused = collections.Counter(), collections.defaultdict(set), collections.Counter()
    passed = collections.defaultdict(set)
    most = 0
    with multiprocessing.Pool(arguments.workers) as pool:
        for seed, found, message, share in pool.imap(one, tasks, chunksize=4):
            most = max(most, share)
            if message:
                refused[message] += 1
            for category, detail in found:
                if arguments.only and not re.fullmatch(arguments.only, category):
                    continue
                if any(re.fullmatch(pattern, category) for pattern in known):
                    passed[category].add(seed)
                    continue
                if seed not in seeds[category]:
                    print(f"{seed}\t{category}\t{detail}")
                counts[category] += 1
                seeds[category].add(seed)
    print(f"\n{len(tasks)} seeds, {len(set().union(*seeds.values()))} with failures")
    if arguments.make_up:
        print(f"what is made up for differs by {100 * most:.2f} % at the most")
    for category in sorted(counts, key=lambda c: -len(seeds[c])):
        print(f"{len(seeds[category]):6} seeds {counts[category]:6} cases  {category}  (first: {min(seeds[category])})")
    for category in sorted(passed):
        print(f"{len(passed[category]):6} seeds, known  {category}")
    for message, count in refused.most_common():
        print(f"{count:6} refused: {message}")
    if arguments.json:
        pathlib.Path(arguments.json).write_text(json.dumps(
            {c: {"seeds": sorted(seeds[c]), "cases": counts[c]} for c in sorted(counts)}, indent=1))
    sys.exit(1 if counts else 0)


if __name__ == "__main__":
    main()
