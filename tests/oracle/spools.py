#!/usr/bin/env python3
"""What random jobs take from their spools, and where these run out: by the forecast, and by a plain sum over all lines of
the rewritten job, which shares nothing with the program.

For each seed the spools of some tools hold a random share of what is needed. The sum follows E by itself: relative and
absolute, G91, G92, inches, arcs, M221, and inserted lines, which count for the line of the original that they stand
before. Grams are pi/4 * diameter^2 * length * density (geometry).

usage: spools.py PROGRAM --seeds FROM:TO"""
import argparse
import json
import math
import pathlib
import random
import re
import subprocess
import sys
import tempfile

from job_maker import Case

WORD = re.compile(r"([A-Z])\s*(-?\d*\.?\d+)")
CLOSE_MM = 1e-4  # closer to its end, a spool may end a line earlier or later


class Sum:
    """What is off each spool, after each line."""

    def __init__(self, rules):
        self.rules = rules
        self.tool, self.loaded = None, {}
        self.relative, self.relative_e, self.unit, self.flow = False, False, 1.0, 1.0
        self.at = dict.fromkeys("XYZE", 0.0)  # as the job counts, in mm
        self.off, self.most = {}, {}
        self.first, self.last = {}, {}  # by head: the tool in it
        self.top, self.layers = -math.inf, 0
        self.over, self.usable = {}, {}
        self.selects, self.selects_then = 0, {}  # that the program's CSV has

    def take(self, tool, mm, line):
        self.off[tool] = self.off.get(tool, 0.0) + mm
        self.most[tool] = max(self.most.get(tool, 0.0), self.off[tool])
        if tool in self.usable and tool not in self.over and self.off[tool] > self.usable[tool] + 1e-6:
            self.over[tool] = (line, self.layers)
            self.selects_then[tool] = self.selects

    def select(self, tool, line):
        if tool < 0:
            self.selects += self.tool is not None
            self.tool = None
            return
        self.selects += 1
        head = self.rules.head_of[tool]
        self.first.setdefault(head, tool)
        self.off.setdefault(tool, 0.0)
        self.most.setdefault(tool, 0.0)
        if self.loaded.get(head, tool) != tool:
            f = filament_of(self.rules, tool)
            purge_mm3 = self.rules.heads[head].get("exchange_purge_mm3", 0)
            self.take(tool, purge_mm3 / (math.pi / 4 * f["diameter_mm"] ** 2), line)
        self.loaded[head] = self.last[head] = self.tool = tool

    def read(self, text, line):
        text = re.sub(r"\([^)]*\)", "", text.split(";")[0]).split("*")[0].strip()
        change = re.match(r"(?:N\d+ )?CHANGE_TO (\d+)", text)
        if change:
            self.select(int(change[1]), line)
            return
        if re.match(r"(N\d+ )?(WARM|AWAIT)_HEAD|BRUSH|M117", text):
            return
        words = [(a, float(b)) for a, b in WORD.findall(text.upper())]
        if words and words[0][0] == "N":
            words = words[1:]
        if not words:
            return
        given = dict(words[1:])
        code = words[0]
        if code[0] == "T":
            self.select(int(code[1]), line)
        elif code == ("M", 6) and "T" in given:
            self.select(int(given["T"]), line)
        elif code in (("M", 82), ("M", 83)):
            self.relative_e = code[1] == 83
        elif code == ("M", 221):
            self.flow = given.get("S", 100) / 100
        elif code in (("G", 20), ("G", 21)):
            self.unit = 25.4 if code[1] == 20 else 1.0
        elif code in (("G", 90), ("G", 91)):
            self.relative = code[1] == 91
        elif code == ("G", 92):
            for a in "XYZE":
                if a in given:
                    self.at[a] = given[a] * self.unit
        elif code == ("G", 28):
            for a in "XYZ":
                self.at[a] = 0.0
        elif code[0] == "G" and code[1] in (0, 1, 2, 3):
            self.move(given, line, code[1] > 1)

    def move(self, given, line, arc):
        moved = {}
        for a in "XYZE":
            if a in given:
                relative = self.relative or (a == "E" and self.relative_e)
                to = given[a] * self.unit + (self.at[a] if relative else 0.0)
                moved[a] = to - self.at[a]
                self.at[a] = to
        fed = moved.get("E", 0.0)
        if fed == 0:
            return
        if fed > 0 and (arc or moved.get("X") or moved.get("Y")) and self.at["Z"] > self.top + 1e-6:
            self.top = self.at["Z"]
            self.layers += 1
        if self.tool is None:
            if fed < 0:
                return
            self.select(0, line)
            self.selects -= 1
        self.take(self.tool, fed * self.flow, line)


def filament_of(rules, tool):
    for f in rules.filament:
        if f["tool"] == tool:
            return {"density_g_cm3": 1.24, "diameter_mm": 1.75, "spool_margin": 0.05} | f
    return {"density_g_cm3": 1.24, "diameter_mm": 1.75, "spool_margin": 0.05}


def g_per_mm(f):
    return math.pi / 4 * f["diameter_mm"] ** 2 * f["density_g_cm3"] / 1000


def read_rewritten(total, data):
    """Inserted lines belong to the next line of the original."""
    line = 1
    for text in re.split(r"\r?\n", data.decode()):
        if text.startswith(";forewarm "):
            continue
        inserted = ";fw+ " in text
        total.read(text, line)
        line += 0 if inserted else 1


def run(program, folder, *arguments):
    return subprocess.run([program, *arguments], cwd=folder, capture_output=True, timeout=120, stdin=subprocess.DEVNULL)


def one(program, seed, folder):
    """What is wrong, and how many spools ran out."""
    r = random.Random(f"{seed}, spools")
    case = Case(seed)
    if not case.portable:
        return [], 0
    rules = case.rules
    for f in rules.filament:
        f |= {"density_g_cm3": r.choice([0.9, 1.15, 1.24, 1.27]), "diameter_mm": r.choice([1.75, 2.85])}
    for h in rules.heads:
        if r.random() < 0.3:
            h["exchange_purge_mm3"] = r.choice([30, 90, 400])
    job, file = folder / "job.gcode", folder / "rules.toml"
    job.write_bytes(case.job)
    file.write_text(rules.text(policy="lookahead"))
    done = run(program, folder, "rewrite", "-q", "--rules", file, "-o", folder / "first.gcode", job)
    if done.returncode != 0:
        return [], 0  # random_jobs.py judges whether it deserves that
    needs = Sum(rules)
    read_rewritten(needs, (folder / "first.gcode").read_bytes())
    for f in rules.filament:
        need_g = needs.most.get(f["tool"], 0) * g_per_mm(f)
        if r.random() < 0.7:
            f["spool_g"] = round(need_g * r.choice([0, 0.2, 0.5, 0.8, 0.99, 1.02, 1.5]) * r.uniform(0.9, 1.1), 4)
            f["spool_margin"] = r.choice([0, 0.05, 0.3])
    file.write_text(rules.text(policy="lookahead"))
    total = Sum(rules)
    for f in rules.filament:
        if "spool_g" in f:
            total.usable[f["tool"]] = f["spool_g"] * (1 - f["spool_margin"]) / g_per_mm(f)
    rewritten = run(program, folder, "rewrite", "-q", "--rules", file, "-o", folder / "second.gcode", job)
    read_rewritten(total, (folder / "second.gcode").read_bytes())
    forecast = run(program, folder, "forecast", "-q", "--rules", file, "--json", "-", "--csv", folder / "c.csv", job)
    if forecast.returncode != 0:
        return [f"forecast: {forecast.stderr.decode()}"], 0
    return compare(rules, total, json.loads(forecast.stdout), rewritten.stderr.decode(), folder / "c.csv")


def compare(rules, total, forecast, said, csv):
    found, ran_out = [], 0
    load = {row["tool"]: row for row in forecast["load"]}
    if set(load) != set(total.most):
        return [f"tools {sorted(load)}, not {sorted(total.most)}"], 0
    changes = [float(line.split(",")[0]) for line in csv.read_text().splitlines()[1:]]
    for tool, row in load.items():
        f = filament_of(rules, tool)
        head = rules.head_of[tool]

        def check(what, is_so, should, row=row, tool=tool):
            if is_so != should:
                found.append(f"T{tool}: {what} is {is_so}, not {should}: {row}")

        needed_g = total.most[tool] * g_per_mm(f)
        if abs(row["needed_g"] - needed_g) > 0.0006:
            found.append(f"T{tool}: needed {row['needed_g']}, not {needed_g}")
        causes = sum(row[k] for k in ("part_g", "purge_g", "priming_g"))
        if abs(causes - total.off[tool] * g_per_mm(f)) > 0.003:
            found.append(f"T{tool}: causes {causes}, not {total.off[tool] * g_per_mm(f)}")
        check("toolhead", row["toolhead"], rules.heads[head]["name"])
        check("at_start", row["at_start"], total.first[head] == tool)
        check("at_end", row["at_end"], total.last[head] == tool)
        check("spool_g", row["spool_g"] is None, "spool_g" not in f)
        if "spool_g" not in f:
            check("enough", row["enough"], None)
            continue
        if abs(total.usable[tool] - total.most[tool]) < CLOSE_MM:
            continue
        check("enough", row["enough"], tool not in total.over)
        line, layer = total.over.get(tool, (None, None))
        check("runs_out_line", row["runs_out_line"], line)
        check("runs_out_layer", row["runs_out_layer"], layer)
        warned = re.search(rf"warning: .*the spool of T{tool}\b.*line {line}\b", said) is not None
        check("a warning", warned, line is not None)
        if line is None:
            check("runs_out_s", row["runs_out_s"], None)
            continue
        ran_out += 1
        times = [0.0, *changes, forecast["policies"]["lookahead"]["duration_s"]]
        n = total.selects_then[tool]
        if not times[n] - 0.002 <= row["runs_out_s"] <= times[n + 1] + 0.002:
            found.append(f"T{tool}: not between {times[n]} and {times[n + 1]} s: {row}")
    return found, ran_out


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("program")
    parser.add_argument("--seeds", default="0:40")
    options = parser.parse_args()
    first, last = map(int, options.seeds.split(":"))
    bad = ran_out = 0
    program = pathlib.Path(options.program).resolve()
    for seed in range(first, last):
        with tempfile.TemporaryDirectory() as folder:
            found, out = one(program, seed, pathlib.Path(folder))
        ran_out += out
        bad += len(found)
        for what in found:
            print(f"seed {seed}: {what}")
    print(f"{last - first} jobs, {ran_out} spools ran out, {bad} wrong")
    if ran_out == 0:
        print("no spool ran out: this tells nothing")
        bad += 1
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
