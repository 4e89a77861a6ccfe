#!/usr/bin/env python3
"""Plays a job, rewritten by one rule file after another, on a simulated machine, and puts what happened beside
what was planned.

  experiment.py --forewarm build/forewarm --player build/tests/simulated/simulated_machine \\
      --job fixtures/trail_map.gcode --rules config/demo.toml --with-keys --seeds 0:20

--rules NAME=FILE may come again. The machine is that of the first rule file, by machine_of_rules.py, whose factors
and --set are options here too (rules that do not say the truth: --full-drive 0.85 --exchange 1.2 --time 1.07), or
--machine FILE. --with-keys adds a rule file of its own: the first, with what it would say of the machine's habits.

A use is late that waited over 1 s longer than a wait takes when all is warm, where the plan said 0. Ends leave stops
out. Exit code 1 if a job was not played to its end, or filament was fed cold (--cold-c, 8 C unless given: what the
project's replay tolerates)."""
import argparse
import json
import math
import multiprocessing.pool
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import tomllib

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import machine_of_rules

LATE_S = 1.0
SAID_0_S = 0.05
FROM_C, TO_C = 170, 215  # what the habits are measured by


def planned_waits(plan):
    """{toolhead: [what each use after the start code was planned to wait]}; a plan has guards (wait_takes_s) apart."""
    waits = {}
    for gap in plan["gaps"]:
        if gap["reason"] != "no further use":
            waits.setdefault(gap["toolhead"], []).append(gap["wait_s"])
    return waits


def uses_of(truth, planned):
    """Each use after the start code: (toolhead, planned wait, truth). A plan of other uses is an error."""
    out, taken = [], {head: 0 for head in planned}
    for use in truth["uses"]:
        if use["from_s"] < truth["print_from_s"]:
            continue
        head = use["toolhead"]
        at = taken.get(head, 0)
        if at >= len(planned.get(head, [])):
            raise ValueError(f"{head}: the plan has fewer uses than were played")
        out.append((head, planned[head][at], use))
        taken[head] = at + 1
    for head, count in taken.items():
        if count != len(planned[head]):
            raise ValueError(f"{head}: {len(planned[head])} uses in the plan, {count} played")
    return out


def wilson(k, n, z=1.959963985):
    """The 95 % interval for a share (NIST/SEMATECH e-Handbook 7.2.4.1)."""
    if n == 0:
        return 0.0, 1.0
    p, s = k / n, z * z / n
    middle, half = p + s / 2, z * math.sqrt((p * (1 - p) + s / 4) / n)
    return (middle - half) / (1 + s), (middle + half) / (1 + s)


class Failed(Exception):
    pass


def run(*command):
    done = subprocess.run([str(c) for c in command], capture_output=True, text=True)
    if done.returncode != 0:
        raise Failed(f"{' '.join(map(str, command))}: exit code {done.returncode}\n{done.stderr.strip()}")


def rewrite(a, rules, folder):
    job, plan = folder / "job.gcode", folder / "plan.json"
    run(a.forewarm, "rewrite", "-q", "--rules", rules, "--json", plan, "-o", job, a.job)
    return job, json.loads(plan.read_text())


def play(a, machine, job, seed, folder):
    truth = folder / f"truth-{seed}.json"
    run(a.player, "--machine", machine, "--seed", seed, "--truth", truth, job)
    return json.loads(truth.read_text())


def measured_s(a, machine, folder):
    """What a wait from standby to printing takes on that machine, without noise."""
    quiet = json.loads(json.dumps(machine))
    for heater in quiet["heaters"]:
        heater |= {"noise_c": 0, "step_c": 0, "drive_sd": 0}
    path, job = folder / "quiet.json", folder / "measure.gcode"
    path.write_text(json.dumps(quiet))
    job.write_text(f"T{machine['toolheads'][0]['tools'][0]}\nM109 S{FROM_C}\nG4 S600\nM109 S{TO_C}\n")
    return play(a, path, job, 0, folder)["waits"][1]["took_s"]


def summed(dicts):
    total = {}
    for one in dicts:
        for key, value in one.items():
            total[key] = total.get(key, 0.0) + value
    return total


def judge(name, plan, truths):
    """What the plays of one rule file come to; seconds are means of a play."""
    planned = planned_waits(plan)
    looked = plan["policies"]["lookahead"]
    late = said_0 = 0
    cold_by_c, worst = 0.0, []
    for truth in truths:
        for head, planned_s, use in uses_of(truth, planned):
            if planned_s <= SAID_0_S:
                said_0 += 1
                if use["late_s"] > LATE_S:
                    late += 1
                    worst.append((use["late_s"], head, use["tool"], truth["seed"], use["from_s"]))
            cold_by_c = max(cold_by_c, use["cold_by_c"])
        cold_by_c = max([cold_by_c, *(c["cold_by_c"] for c in truth["changes"])])
    ends = [t["end_s"] - t["time_by_cause_s"].get("stops", 0) for t in truths]
    count = len(truths)
    low, high = wilson(late, said_0)
    return {
        "name": name, "plays": count, "planned_s": looked["duration_s"],
        "actual_s": statistics.fmean(ends), "actual_sd_s": statistics.stdev(ends) if count > 1 else 0.0,
        "late": late, "uses": said_0, "late_share": late / said_0 if said_0 else 0.0, "low": low, "high": high,
        "planned_wait_s": plan["wait_by_cause"], "planned_guard_s": plan["time_by_cause"].get("guard_s", 0.0),
        "wait_s": {k: v / count for k, v in summed(t["wait_by_cause_s"] for t in truths).items()},
        "late_wait_s": {k: v / count for k, v in summed(late_of(t) for t in truths).items()},
        "planned_hot_idle_s": looked["hot_idle_s"],
        "hot_idle_s": statistics.fmean(sum(t["hot_idle_s"].values()) for t in truths),
        "stops": sum(len(t["stops"]) for t in truths), "cold_by_c": cold_by_c,
        "worst": [dict(zip(("late_s", "toolhead", "tool", "seed", "from_s"), w)) for w in sorted(worst, reverse=True)[:10]],
    }


def late_of(truth):
    """{cause: what waits took beyond what they take when all is warm}"""
    return summed({w["cause"]: w["late_s"]} for w in truth["waits"])


def show(results):
    width = max(len(r["name"]) for r in results) + 2
    print(f"{'rules':{width}}{'plays':>6}{'planned':>10}{'actual':>10}{'sd':>7}{'off':>8}{'late':>6}{'of':>6}{'share':>8}"
          f"{'95 %':>16}{'hot idle':>10}{'planned':>9}{'stops':>7}{'cold':>6}")
    for r in results:
        off = r["actual_s"] / r["planned_s"] - 1
        print(f"{r['name']:{width}}{r['plays']:6}{r['planned_s']:10.0f}{r['actual_s']:10.0f}{r['actual_sd_s']:7.0f}{off:8.2%}"
              f"{r['late']:6}{r['uses']:6}{r['late_share']:8.2%}{r['low']:8.2%}{r['high']:8.2%}"
              f"{r['hot_idle_s']:10.0f}{r['planned_hot_idle_s']:9.0f}{r['stops']:7}{r['cold_by_c']:6.1f}")
    causes = ["start", "gap", "exchange", "use", "end"]
    print("\nwaiting by cause, s a play, planned and actual; guards: what waits take when all is warm, the others without")
    print(f"{'rules':{width}}" + "".join(f"{c:>18}" for c in [*causes, "guards"]))
    names = dict(zip(causes, ["start_code_s", "gap_s", "exchange_s", "use_s", "end_s"]))
    for r in results:
        print(f"{r['name']:{width}}" + "".join(
            f"{r['planned_wait_s'][names[c]]:9.0f}{r['late_wait_s'].get(c, 0):9.0f}" for c in causes) +
            f"{r['planned_guard_s']:9.0f}{sum(r['wait_s'].values()) - sum(r['late_wait_s'].values()):9.0f}")


def seeds_of(text):
    first, colon, end = text.partition(":")
    return range(int(first), int(end) if colon else int(first) + 1)


def arguments():
    p = machine_of_rules.with_options(
        argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter))
    p.add_argument("--forewarm", required=True)
    p.add_argument("--player", required=True, help="simulated_machine")
    p.add_argument("--job", required=True)
    p.add_argument("--rules", action="append", required=True, metavar="[NAME=]FILE")
    p.add_argument("--with-keys", action="store_true")
    p.add_argument("--machine", metavar="FILE")
    p.add_argument("--seeds", type=seeds_of, default=range(20), metavar="FROM:TO")
    p.add_argument("--cold-c", type=float, default=8.0)
    p.add_argument("--workers", type=int, default=os.cpu_count())
    p.add_argument("--json", metavar="FILE")
    p.add_argument("--keep", metavar="DIR", help="where to leave rule files, jobs and truths")
    return p.parse_args()


def rule_sets(a, machine, folder):
    sets = []
    for given in a.rules:
        name, equals, path = given.partition("=")
        sets.append((name, path) if equals else (pathlib.Path(given).stem, given))
    if a.with_keys:
        path = folder / "with-keys.toml"
        keys = machine_of_rules.keys_of(machine, FROM_C, TO_C, measured_s(a, machine, folder))
        path.write_text(machine_of_rules.with_keys(pathlib.Path(sets[0][1]).read_text(), *keys))
        sets.append((sets[0][0] + " with keys", str(path)))
    return sets


def experiment(a, folder):
    first = a.rules[0].rpartition("=")[2]
    if a.machine:
        machine = json.loads(pathlib.Path(a.machine).read_text())
        for one in a.set:
            machine_of_rules.put(machine, one)
    else:
        machine = machine_of_rules.from_arguments(tomllib.loads(pathlib.Path(first).read_text()), a)
    path = folder / "machine.json"
    path.write_text(json.dumps(machine, indent=2))
    results = []
    for number, (name, rules) in enumerate(rule_sets(a, machine, folder)):
        place = folder / f"rules-{number}"
        place.mkdir(exist_ok=True)
        job, plan = rewrite(a, rules, place)
        with multiprocessing.pool.ThreadPool(a.workers) as pool:
            truths = pool.map(lambda seed: play(a, path, job, seed, place), a.seeds)
        results.append(judge(name, plan, truths))
    return results


def main():
    a = arguments()
    try:
        if a.keep:
            pathlib.Path(a.keep).mkdir(parents=True, exist_ok=True)
            results = experiment(a, pathlib.Path(a.keep))
        else:
            with tempfile.TemporaryDirectory(prefix="experiment-") as folder:
                results = experiment(a, pathlib.Path(folder))
    except Failed as failed:
        sys.exit(f"experiment: {failed}")
    show(results)
    if a.json:
        pathlib.Path(a.json).write_text(json.dumps(results, indent=1))
    sys.exit(1 if any(r["cold_by_c"] > a.cold_c for r in results) else 0)


if __name__ == "__main__":
    main()
