#!/usr/bin/env python3
"""Replays a job and its rewrite with a small interpreter of its own, and says what is wrong.

Shares nothing with the program: words by regular expression, time by distance over feed (no
acceleration), heaters by explicit Euler steps of the two equations of a first-order hotend. Checked:
every extruding move is there, unchanged and in order, with its tool; nothing is extruded, and no
filament exchanged, more than 8 C below the temperature that the job prints it at; the start code up
to the first print move is unchanged; no target above max_c; every heater is off at the end; undoing
the marks by hand gives the original.

Usage: replay.py ORIGINAL REWRITTEN RULES.toml   Prints findings; exit 1 if any."""
import re
import sys
import tomllib

WORD = re.compile(r"([A-Za-z])\s*([-+]?(?:\d+\.?\d*|\.\d+))")
STEP = 0.1
COLD = 8.0


class Machine:
    def __init__(self, rules):
        self.ambient = rules.get("machine", {}).get("ambient_c", 23)
        self.heads = rules["toolhead"]
        self.of_tool = {t: i for i, h in enumerate(self.heads) for t in h["tools"]}
        self.durations = [(re.compile(d["match"]), d["seconds"]) for d in rules.get("duration", [])]


class Replay:
    def __init__(self, machine, lines):
        self.m = machine
        self.temp = [machine.ambient] * len(machine.heads)
        self.target = [0.0] * len(machine.heads)
        self.dead = [0.0] * len(machine.heads)
        self.pos = [0.0] * 4
        self.rel = self.erel = False
        self.unit = 1.0
        self.feed = 25.0
        self.tool = None
        self.loaded = {}
        self.motion = 1
        self.spare = 0.0
        self.waited = 0.0
        self.moves = []     # (line number, key, head, temperature, target)
        self.exchanges = []  # (line number, temperature, target, printed at before)
        self.printed = {}    # head: target at its last extrusion
        self.stepped = {}    # head: mm that sequences have pushed since, less what they pulled
        self.findings = []
        self.first_print = None
        self.waited_at_start = 0.0
        for number, text in lines:
            self.line(number, text)

    def pass_time(self, seconds):
        self.spare += seconds
        while self.spare >= STEP:
            self.spare -= STEP
            for h, head in enumerate(self.m.heads):
                heater = head["heater"]
                tau, full = heater["time_constant_s"], heater["full_drive_c"]
                if self.target[h] > self.temp[h] and self.dead[h] <= 0:
                    self.temp[h] = min(self.target[h], self.temp[h] + STEP * (full - self.temp[h]) / tau)
                elif self.target[h] > 0 and abs(self.temp[h] - self.target[h]) < 0.05:
                    self.temp[h] = self.target[h]
                else:
                    self.dead[h] -= STEP if self.target[h] > self.temp[h] else 0
                    self.temp[h] -= STEP * (self.temp[h] - self.m.ambient) / tau
                    if self.target[h] <= self.temp[h] + 0.05 < self.target[h] + 0.1:
                        self.temp[h] = self.target[h]

    def set(self, number, head, value):
        if value > self.m.heads[head]["heater"].get("max_c", 300):
            self.findings.append(f"{number}: target {value} above max_c")
        if value > self.temp[head] and self.target[head] <= self.temp[head] - 0.06:
            self.dead[head] = self.m.heads[head]["heater"].get("dead_time_s", 0)
        self.target[head] = value

    def select(self, number, tool):
        if tool == self.tool:
            return
        seconds = 0
        old = self.m.of_tool.get(self.tool)
        new = self.m.of_tool[tool]
        if old is not None and old != new:
            seconds += self.m.heads[old].get("park_s", 7)
        if old != new:
            seconds += self.m.heads[new].get("pick_s", 7)
        if self.loaded.get(new, tool) != tool:
            self.stepped[new] = 0
            self.exchanges.append((number, self.temp[new], self.target[new], self.printed.get(new, 0)))
            seconds += self.m.heads[new].get("exchange_s", 35)
        self.loaded[new] = tool
        self.tool = tool
        self.pass_time(seconds)

    def line(self, number, text):
        self.inserted = " ;fw+ step " in text
        code = re.sub(r"\(.*?\)", "", text.split(";", 1)[0].split("*", 1)[0]).strip()
        for pattern, seconds in self.m.durations:
            if pattern.search(text):
                self.pass_time(seconds)
        if not code or re.match(r"[A-Za-z][A-Za-z_]", code):
            return
        words = [(a.upper(), float(b)) for a, b in WORD.findall(code)]
        if words and words[0][0] == "N":
            words = words[1:]
        if not words:
            return
        first = words[0]
        value = dict(words)
        if first[0] == "T":
            self.select(number, int(first[1]))
        elif first[0] == "M" and first[1] in (104, 109):
            head = self.m.of_tool[int(value["T"])] if "T" in value else self.m.of_tool[self.tool or 0]
            self.set(number, head, value.get("S", 0))
            while first[1] == 109 and self.temp[head] < self.target[head] - 0.5:
                self.waited += STEP
                self.pass_time(STEP)
        elif first[0] == "M" and first[1] == 82:
            self.erel = False
        elif first[0] == "M" and first[1] == 83:
            self.erel = True
        elif first[0] == "G" and first[1] in (90, 91):
            self.rel = first[1] == 91
        elif first[0] == "G" and first[1] in (20, 21):
            self.unit = 25.4 if first[1] == 20 else 1.0
        elif first[0] == "G" and first[1] == 92:
            for i, a in enumerate("XYZE"):
                if a in value:
                    self.pos[i] = value[a] * self.unit
        elif first[0] == "G" and first[1] == 28:
            self.pos[:3] = [0.0] * 3
        elif first[0] == "G" and first[1] == 4:
            self.pass_time(value.get("S", value.get("P", 0) / 1000))
        elif first[0] == "G" and first[1] in (0, 1, 2, 3):
            self.move(number, value, first[1])

    def move(self, number, value, code):
        old = list(self.pos)
        for i, a in enumerate("XYZE"):
            if a in value:
                relative = self.rel or (a == "E" and self.erel)
                self.pos[i] = value[a] * self.unit + (old[i] if relative else 0)
        self.feed = value.get("F", self.feed / self.unit * 60) * self.unit / 60
        delta = [b - a for a, b in zip(old, self.pos)]
        head = self.m.of_tool[self.tool if self.tool is not None else 0]
        if self.inserted:
            self.stepped[head] = self.stepped.get(head, 0) + delta[3]
            least = min(self.target[head], self.printed.get(head, self.target[head]))
            if delta[3] > 1e-9 and self.temp[head] < least - COLD:
                self.findings.append(f"{number}: a step pushes at {self.temp[head]:.1f}, not {least:.0f}")
        elif delta[3] > 1e-9:
            if self.stepped.pop(head, 0) < -1e-4:
                self.findings.append(f"{number}: steps have left the filament pulled back")
            key = (code, self.tool, round(self.feed, 6), *(round(v, 5) for v in self.pos),
                   *(value.get(k) for k in "IJR"))
            self.moves.append((number, key, head, self.temp[head], self.target[head]))
            self.printed[head] = self.target[head]
            if (abs(delta[0]) + abs(delta[1]) > 1e-9 or code > 1) and self.first_print is None:
                self.first_print = number
                self.waited_at_start = self.waited
        length = sum(d * d for d in delta[:3]) ** 0.5 or abs(delta[3])
        self.pass_time(length / self.feed)


def main():
    original = open(sys.argv[1], "rb").read()
    rewritten = open(sys.argv[2], "rb").read()
    with open(sys.argv[3], "rb") as f:
        machine = Machine(tomllib.load(f))
    findings = []

    # The marks, undone by hand.
    undone = b""
    for line in rewritten.splitlines(keepends=True)[1:]:
        if b" ;fw+ " not in line:
            undone += line.removeprefix(b";fw- ")
    if undone.rstrip(b"\r\n") != original.rstrip(b"\r\n"):
        findings.append("the marks do not lead back to the original")

    def lines(data):
        return list(enumerate(data.decode("latin-1").split("\n"), 1))

    a = Replay(machine, lines(original))
    b = Replay(machine, lines(rewritten))
    findings += b.findings
    if [m[1] for m in a.moves] != [m[1] for m in b.moves]:
        findings.append("the extruding moves differ")
    want = lines(original)[: a.first_print]
    have = [x for x in lines(rewritten)[1:] if " ;fw+ " not in x[1]][: a.first_print]
    if [x[1] for x in want] != [x[1] for x in have]:
        findings.append("the start code differs")
    for (_, _, _, _, wanted), (number, _, head, temp, _) in zip(a.moves, b.moves):
        if temp < wanted - COLD:
            findings.append(f"{number}: extrudes at {temp:.1f}, printed at {wanted:.0f}")
    for number, temp, target, wanted in b.exchanges:
        if temp < wanted - COLD or target < wanted:
            findings.append(f"{number}: exchange at {temp:.1f}, target {target:.0f}, the filament "
                            f"in it was printed at {wanted:.0f}")
    for h, target in enumerate(b.target):
        if target > 0:
            findings.append(f"{machine.heads[h]['name']} is left on at {target:.0f}")
    if b.waited > a.waited:
        findings.append(f"waits {b.waited:.0f} s, the original {a.waited:.0f} s")
    # Beyond the start code, which stays as it is, next to nothing is waited for.
    before, after = a.waited - a.waited_at_start, b.waited - b.waited_at_start
    if after > 0.005 * before:
        findings.append(f"waits {after:.1f} s after the start code, more than 0.5 % of the original's {before:.0f} s")
    print(f"{len(b.moves)} extruding moves, {len(b.exchanges)} exchanges, waits {a.waited:.0f} -> "
          f"{b.waited:.0f} s, after the start code {before:.0f} -> {after:.1f} s")
    for finding in findings[:20]:
        print(finding)
    sys.exit(1 if findings else 0)


main()
