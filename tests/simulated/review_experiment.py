#!/usr/bin/env python3
"""Closes the loop on a simulated machine: prints by rules that do not say the truth, reviews the records of all
prints together, writes what is certain into the rules, plans and prints anew, and puts the two beside what true rules
give.

  review_experiment.py --forewarm build/forewarm --player build/tests/simulated/simulated_machine \\
      --job fixtures/trail_map.gcode --rules config/demo.toml --seeds 0:20

Unless other factors are given (machine_of_rules.py), heaters are 15 % weaker, their dead time 15 % longer, exchanges
20 % slower, and moves take 1.07 of what is planned. --with-keys gives the rules what they would say of the machine's
habits (true rules say it anyway). A rule file that has no [dialect] echo gets one, which waits for motion; where the
program knows none, echoes are put into the rewritten job.

Waiting is what was not planned: where a use begins, what each that was over 1 s late waited beyond its plan; within
uses and before exchanges, what all waits of a print took beyond what all were planned to take, as a plan tells no more
of them than their sums, and counts a wait before the exchange of what is mounted to its use.

Exit code 1 if the second prints wait more than 30 s or 15 % of what the first did, whichever is more; if more of their
uses are late than 1 - on_time and two standard errors; if their hot idle is more than 10 % off what true rules give; or
if a job was not played to its end."""
import argparse
import json
import math
import multiprocessing.pool
import os
import pathlib
import re
import shutil
import sys
import tempfile
import tomllib

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import experiment
import machine_of_rules

OFF = {"full_drive": 0.85, "dead_time": 1.15, "exchange": 1.2, "time": 1.07}
ECHO = 'echo = ["M400", "M118 {text}"]\n'
STOPS = """
[[observe]]
match = 'stopped:'
as = "stop"

[[observe]]
match = 'goes on'
as = "go-on"
"""
LEAST_WAIT_S, SHARE_OF_WAIT, SHARE_OF_IDLE = 30, 0.15, 0.10


def with_echo(text):
    if re.search(r"^echo\s*=", text, re.M):
        return text
    if re.search(r"^\[dialect\]", text, re.M):
        return re.sub(r"^\[dialect\][^\n]*\n", lambda m: m[0] + ECHO, text, count=1, flags=re.M)
    return text.rstrip("\n") + "\n\n[dialect]\n" + ECHO


def knows_echo(forewarm, text, folder):
    path = folder / "echo.toml"
    path.write_text(with_echo(text))
    try:
        experiment.run(forewarm, "rules", "check", path)
    except experiment.Failed:
        return False
    return True


def put_echoes(job):
    """What [dialect] echo does, in a job that was rewritten without it."""
    lines = job.read_text().split("\n")
    says = lambda number, what: ["M400 ;fw+ echo", f"M118 forewarm {number} {what} ;fw+ echo"]
    first = next(i for i, line in enumerate(lines) if i and (" ;fw+ " in line or line.startswith(";fw- ")))
    out, number, i = [], 0, 0
    while i < len(lines):
        line = lines[i]
        if i == first:
            out += says(0, "start")
        i += 1
        if not re.match(r"T\d+\b", line):
            out.append(line)
            continue
        number += 1
        if i <= first:
            out.append(line)
            continue
        out += [*says(number, "leave"), line, *says(number, "there")]
        last = at = i
        while at < len(lines) and re.match(r"\s*(;|M10[49]\b|$)", lines[at]):
            at += 1
            if lines[at - 1].startswith("M109"):
                last = at
        if last > i:
            out += [*lines[i:last], *says(number, "ready")]
            i = last
    while out and not out[-1]:
        out.pop()
    job.write_text("\n".join([*out, *says(0, "end"), ""]))


def true_text(text, machine):
    """The rules as they would be if they said what the machine is."""
    def heaters(text):
        kinds = iter(machine["heaters"])

        def one(match):
            kind, body = next(kinds), match[0]
            dead = kind["dead_time_s"] + machine_of_rules.delay_of(kind["sensor_lag_s"], kind["time_constant_s"])
            true = {key: kind[key] for key in ("full_drive_c", "time_constant_s")} | {"dead_time_s": dead}
            for key, value in true.items():
                body = re.sub(rf"\b(?<!cool_){key}\s*=\s*[\d.]+", f"{key} = {value:.4g}", body)
            return body
        # Inline, or a table of its own up to the next.
        return re.sub(r"^heater\s*=\s*\{[^}]*\}|^\[toolhead\.heater\][^\[]*", one, text, flags=re.M)

    text = heaters(text)
    exchange = {head["name"]: head["exchange"]["mean_s"] for head in machine["toolheads"]}
    out = []
    for part in re.split(r"(?m)^(?=\[\[)", text):
        name = re.search(r'^name\s*=\s*"([^"]*)"', part, re.M)
        if part.startswith("[[toolhead]]") and name:
            part = re.sub(r"^exchange_s\s*=\s*[\d.]+", f"exchange_s = {exchange[name[1]]:.4g}", part, flags=re.M)
        out.append(part)
    scale = f"time_scale = {machine['motion']['time_factor']:.4g}"
    return re.sub(r"^time_scale\s*=\s*[\d.]+", scale, "".join(out), flags=re.M)


class Loop:
    def __init__(self, a, folder):
        self.a, self.folder = a, folder
        text = pathlib.Path(a.rules).read_text()
        self.machine = machine_of_rules.from_arguments(tomllib.loads(text), a)
        self.path = folder / "machine.json"
        self.path.write_text(json.dumps(self.machine, indent=2))
        honest = machine_of_rules.machine_of(tomllib.loads(text), stops=False)
        keys = machine_of_rules.keys_of(honest, experiment.FROM_C, experiment.TO_C,
                                        experiment.measured_s(a, honest, folder))
        with_keys = machine_of_rules.with_keys(text, *keys)
        if a.with_keys:
            text = with_keys
        text += STOPS
        self.own_echo = knows_echo(a.forewarm, text, folder)
        self.text = with_echo(text) if self.own_echo else text
        self.habits = with_echo(with_keys + STOPS) if self.own_echo else with_keys + STOPS
        self.on_time = tomllib.loads(text).get("gap", {}).get("on_time", 0.99)

    def prints(self, name, rules, seeds):
        place = self.folder / name
        place.mkdir(exist_ok=True)
        job, plan = experiment.rewrite(self.a, rules, place)
        if not self.own_echo:
            put_echoes(job)

        def play(seed):
            log, truth = place / f"host-{seed}.log", place / f"truth-{seed}.json"
            experiment.run(self.a.player, "--machine", self.path, "--seed", seed, "--record", log, "--truth", truth,
                           job)
            return log, json.loads(truth.read_text())

        with multiprocessing.pool.ThreadPool(self.a.workers) as pool:
            played = pool.map(play, seeds)
        truths = [truth for _, truth in played]
        result = experiment.judge(name, plan, truths)
        result["unplanned_s"] = sum(unplanned_s(plan, truth) for truth in truths) / len(truths)
        return job, [log for log, _ in played], result

    def run(self):
        a = self.a
        rules = self.folder / "rules.toml"
        rules.write_text(self.text)
        job, logs, first = self.prints("first", rules, a.seeds)
        report = self.folder / "review.json"
        experiment.run(a.forewarm, "review", "-q", "--write", rules, "--json", report, job, *logs)
        again = [seed + a.again for seed in a.seeds]
        _, _, second = self.prints("second", rules, again)
        true = self.folder / "true.toml"
        true.write_text(true_text(self.habits, self.machine))
        _, _, best = self.prints("true rules", true, again)
        return first, second, best, json.loads(report.read_text())


def unplanned_s(plan, truth):
    """What a print waited beyond its plan, and beyond what waits take when all is warm, after the start code."""
    uses = experiment.uses_of(truth, experiment.planned_waits(plan))
    late = [use["late_s"] - planned_s for _, planned_s, use in uses if use["late_s"] > experiment.LATE_S]
    within_s = sum(w["late_s"] for w in truth["waits"] if w["cause"] in ("use", "exchange"))
    late.append(within_s - plan["wait_by_cause"]["use_s"] - plan["wait_by_cause"]["exchange_s"])
    return sum(max(0.0, seconds) for seconds in late)


def all_waits_s(result):
    return sum(seconds for cause, seconds in result["late_wait_s"].items() if cause in ("gap", "exchange"))


def judged(first, second, best, on_time):
    most_s = max(LEAST_WAIT_S, SHARE_OF_WAIT * first["unplanned_s"])
    promised = 1 - on_time
    most_late = promised + 2 * math.sqrt(promised * on_time / max(second["uses"], 1))
    idle = second["hot_idle_s"] / best["hot_idle_s"] - 1 if best["hot_idle_s"] else 0.0
    return [
        (f"waiting {second['unplanned_s']:.1f} s a print, {first['unplanned_s']:.1f} s before, "
         f"{best['unplanned_s']:.1f} s by true rules, {most_s:.1f} s allowed", second["unplanned_s"] <= most_s),
        (f"late uses {second['late_share']:.2%}, {first['late_share']:.2%} before, {most_late:.2%} allowed",
         second["late_share"] <= most_late),
        (f"hot idle {idle:+.1%} beside true rules, {SHARE_OF_IDLE:.0%} allowed", abs(idle) <= SHARE_OF_IDLE),
    ]


def arguments():
    p = machine_of_rules.with_options(
        argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter))
    p.set_defaults(**OFF)
    p.add_argument("--forewarm", required=True)
    p.add_argument("--player", required=True, help="simulated_machine")
    p.add_argument("--job", required=True)
    p.add_argument("--rules", required=True, metavar="FILE")
    p.add_argument("--with-keys", action="store_true")
    p.add_argument("--seeds", type=experiment.seeds_of, default=range(20), metavar="FROM:TO")
    p.add_argument("--again", type=int, default=1000, help="what is added to the seeds of the second prints")
    p.add_argument("--workers", type=int, default=os.cpu_count())
    p.add_argument("--keep", metavar="DIR", help="where to leave rule files, jobs, records and truths")
    return p.parse_args()


def main():
    a = arguments()
    if a.keep:
        shutil.rmtree(a.keep, ignore_errors=True)
        pathlib.Path(a.keep).mkdir(parents=True)
    try:
        with tempfile.TemporaryDirectory(prefix="review-experiment-") as folder:
            loop = Loop(a, pathlib.Path(a.keep or folder))
            first, second, best, report = loop.run()
    except experiment.Failed as failed:
        sys.exit(f"review_experiment: {failed}")
    experiment.show([first, second, best])
    print("\nwritten:")
    for s in report["suggest"]:
        if s["certain"]:
            print(f"  {s['key']}: {s['now']} -> {s['better']} +- {s['sd']}, {s['observations']} observations")
    print("\nall waiting after the start code, planned or not, s a print: " +
          ", ".join(f"{r['name']} {all_waits_s(r):.0f}" for r in (first, second, best)))
    results = judged(first, second, best, loop.on_time)
    for words, good in results:
        print(f"{'good' if good else 'MISSED'}: {words}")
    sys.exit(0 if all(good for _, good in results) else 1)


if __name__ == "__main__":
    main()
