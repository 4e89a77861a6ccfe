#!/usr/bin/env python3
"""Replays a job and its rewrite with a small interpreter of its own, and says what is wrong.

Shares nothing with the program: words by regular expression, time by distance over feed (no
acceleration), heaters by the equations of a first-order hotend, from one change to the next. Checked:
every extruding move is there, unchanged and in order, with its tool; nothing is extruded, and no
filament exchanged, more than 8 C below the temperature that the job prints it at; the start code up
to the first print move is unchanged; no target above max_c; every heater is off at the end; undoing
the marks by hand gives the original. judge.py asks more of the same replay.

Usage: replay.py ORIGINAL REWRITTEN RULES.toml   Prints findings; exit 1 if any."""
import collections
import math
import re
import sys
import tomllib

WORD = re.compile(r"([A-Za-z])\s*([-+]?(?:\d+\.?\d*|\.\d+))?")
COLD = 8.0
PUT_IN, TAKEN_OUT = " ;fw+ ", ";fw- "
MAKES_UP = ", makes up "
SAME_C = 1e-9

# A line that a machine gets. `origin`: the number, from 0, of the job's line that it is; None for one that was
# put in. `step`: the name of the sequence that it belongs to.
Line = collections.namedtuple("Line", "number text origin step")
# Filament moved by a line of the job; `asked_c`: the last target but off that its heater was given; `waited`: as
# Replay.waited_for; `first`: of its use; `told`: the job has given its heater a target since that.
Moved = collections.namedtuple("Moved", "number origin key forwards head tool temp target asked_c waited first told")
Exchange = collections.namedtuple("Exchange", "number origin head out into temp target printed sure_c")
Select = collections.namedtuple("Select", "number origin tool head from_head z block")
# A wait for cooling down: of which head, to what, from what at most; the tool that it was last used with, if ever, and the
# one named, else in it.
Cooled = collections.namedtuple("Cooled", "head target most user named")
# Filament moved by a line that was put in, after so many moves of the job's; `printed`: the target when its head
# last extruded; `moved_at`: the temperature when the job last moved filament in it.
StepFed = collections.namedtuple("StepFed", "number step mm head tool temp target printed moved_at moves")
Wait = collections.namedtuple("Wait", "number origin head seconds cooling step")
# A toolhead put away, or not used yet: how long it was more than 5 C above the standby of what is in it.
# What inserted lines push for what has oozed, and how long it was hot while parked, by this replay. `unsure`: it
# was held at the very temperature from which on it is hot, so that rounding decides, or parked as planning began.
MadeUp = collections.namedtuple("MadeUp", "number step mm head hot_s unsure")
Parked = collections.namedtuple("Parked", "number head tool from_s to_s hot_s start_c")


class Heater:
    """First order: cools towards the room, or is driven, after its dead time, towards full_drive_c; within approach_c of
    its target the drive falls in proportion to what is left, down to what holds the target."""

    def __init__(self, heater, ambient):
        self.ambient = ambient
        self.tau, self.full = heater["time_constant_s"], heater["full_drive_c"]
        self.cool_tau = heater.get("cool_time_constant_s", self.tau)
        self.approach, self.reached = heater.get("approach_c", 0), heater.get("reached_c", 0)
        self.settle_s, self.settle = heater.get("settle_s", 0), 0.0  # what is left of it
        self.dead_time = heater.get("dead_time_s", 0)
        self.max_c = heater.get("max_c", 300)
        self.temp, self.target = ambient, 0.0
        self.dead, self.held = 0.0, False  # of the drive under way: what is left, and what it began as
        self.warm, self.hot_s = math.inf, 0.0  # how long it was above that

    def driven(self):
        return self.target > self.ambient and self.temp < self.target - SAME_C

    def near(self):
        """Whether the drive no longer is, or would no longer be, a full one."""
        return self.approach > 0 and self.target < self.full and self.temp >= self.target - self.approach

    def is_reached(self):
        return self.temp >= self.target - self.reached - SAME_C

    def set(self, target):
        was, new = self.driven(), abs(target - self.target) > SAME_C
        held = not was and self.target > self.ambient and abs(self.temp - self.target) <= SAME_C
        if was and self.dead <= 0 and self.near() and self.is_reached() and new:
            was, held = False, True  # as good as held
        self.target = target
        if not self.driven():
            self.dead = 0.0
        elif not was:
            self.dead, self.held = self.dead_time, held
        if target <= self.ambient or self.temp > target + SAME_C:
            self.settle = 0.0
        elif new and self.driven():
            self.settle = self.settle_s

    @staticmethod
    def seconds_toward(temp, end, level, tau):
        """Of the way from `temp` to `end`; infinite if `level` is not on it."""
        have, want = temp - end, level - end
        if have == 0 or want / have <= 0:
            return math.inf
        return tau * math.log(have / want) if abs(want) < abs(have) else 0.0

    def phase(self):
        """Towards what temperature it goes (None: it stays) with which time constant, for how long, and where it is then
        (None: as computed)."""
        if self.target <= self.ambient:
            return self.ambient, self.cool_tau, math.inf, None
        if self.temp > self.target + SAME_C:
            lasts = self.seconds_toward(self.temp, self.ambient, self.target, self.cool_tau)
            return self.ambient, self.cool_tau, lasts, self.target
        if not self.driven():
            return None, 1.0, math.inf, None
        if self.dead > 0:
            return (None if self.held else self.ambient), self.cool_tau, self.dead, None
        if self.near():
            gain = (self.full - self.target) / self.approach
            lasts = self.seconds_toward(self.temp, self.target, self.target - SAME_C, self.tau / (1 + gain))
            return self.target, self.tau / (1 + gain), lasts, self.target
        end = self.target - (self.approach if self.target < self.full else 0)
        return self.full, self.tau, self.seconds_toward(self.temp, self.full, end, self.tau), end

    def crossing(self, level):
        """Seconds until it is at `level` in the present phase, or never in it."""
        end, tau, _, _ = self.phase()
        if end is None or not min(self.temp, end) < level < max(self.temp, end):
            return math.inf
        return self.seconds_toward(self.temp, end, level, tau)

    def step(self, seconds):
        """Part of `seconds`, within one phase; says how much."""
        end, tau, lasts, there = self.phase()
        drives, dead = self.driven(), self.dead > 0
        took = min(seconds, lasts)
        crosses = self.crossing(self.warm)
        self.hot_s += min(took, crosses) if self.temp > self.warm else max(0.0, took - crosses)
        if not (drives and dead):
            since = 0.0 if self.is_reached() else self.crossing(self.target - self.reached)
            self.settle = max(0.0, self.settle - max(0.0, took - since))
        if end is not None:
            self.temp = end + (self.temp - end) * math.exp(-took / tau)
        if drives and dead:
            self.dead = 0.0 if took == lasts else self.dead - took
        elif there is not None and took == lasts:
            self.temp = there
        return took

    def pass_time(self, seconds):
        while seconds > 0:
            seconds -= self.step(seconds)

    def ahead(self):
        copy = Heater.__new__(Heater)
        copy.__dict__.update(self.__dict__)
        copy.warm = math.inf
        return copy

    def seconds_until(self, cooling):
        """Until a wait for its target is over: reached from below and settled, and if `cooling` reached from above; None if
        never."""
        if self.target <= self.ambient or (self.temp > self.target + SAME_C and not cooling):
            return 0.0
        if self.is_reached() and self.settle <= 0 and self.temp <= self.target + SAME_C:
            after = self.ahead()
            if after.driven() and after.dead > 0:
                after.step(after.dead)
            if after.is_reached():  # still
                return 0.0
        ahead, total = self.ahead(), 0.0
        while ahead.temp > ahead.target + SAME_C or not ahead.is_reached() or (ahead.driven() and ahead.dead > 0):
            _, _, lasts, _ = ahead.phase()
            if ahead.temp < ahead.target and ahead.dead <= 0:
                lasts = min(lasts, ahead.crossing(ahead.target - ahead.reached))
            if lasts == math.inf:
                return None
            total += ahead.step(lasts)
        return total + ahead.settle

    def seconds_of_full_drive(self):
        """Infinite if it never gets there."""
        ahead, total = self.ahead(), 0.0
        while ahead.driven() and (ahead.dead > 0 or not ahead.near()):
            lasts = ahead.phase()[2]
            if lasts == math.inf:
                return math.inf
            total += ahead.step(lasts)
        return total


class Machine:
    def __init__(self, rules):
        self.ambient = rules.get("machine", {}).get("ambient_c", 23)
        self.heads = rules["toolhead"]
        self.of_tool = {t: i for i, h in enumerate(self.heads) for t in h["tools"]}
        self.of_heater = {h["heater"].get("index", h["tools"][0]): i for i, h in enumerate(self.heads)}
        self.durations = [(re.compile(d["match"]), d["seconds"]) for d in rules.get("duration", [])]
        self.recognise = [(re.compile(r["match"]), r["as"], r.get("tool"))
                          for r in rules.get("recognise", [])]
        self.by_heater = rules.get("dialect", {}).get("temperature_index", "tool") == "heater"
        self.wait_takes_s = rules.get("dialect", {}).get("wait_takes_s", 0)
        motion = rules.get("motion", {})
        fastest = {"x": 300, "y": 300, "z": 12, "e": 60} | motion.get("max_speed_mm_s", {})
        self.fastest = [fastest[a] for a in "xyze"]
        self.time_scale = motion.get("time_scale", 1)
        self.filament = {f["tool"]: f for f in rules.get("filament", [])}
        self.material = rules.get("material", {})

    def of_filament(self, tool, key, otherwise):
        """The filament's own, else its material's, else the default."""
        own = self.filament.get(tool, {})
        return own.get(key, self.material.get(own.get("material"), {}).get(key, otherwise))


class Replay:
    """Follows `lines`. `e_follows`: G90 and G91 set the mode of E as well, as M82 and M83 do, and whichever came
    last counts; else E is relative while either G91 or M83 is in force. Without `heat` no heater is
    followed and no time passes."""

    def __init__(self, machine, lines, e_follows=False, heat=True, pause_s=None):
        self.m = machine
        self.pause_s = pause_s  # how long each pause of the job lasts; None: 0 s, but what is parked is as cold as it can get
        self.hot_at_pause = []  # line, head, target
        self.e_follows, self.heat = e_follows, heat
        self.heaters = [Heater(h["heater"], machine.ambient) for h in machine.heads]
        self.pos = [0.0] * 4
        self.rel = self.erel = False
        self.unit = 1.0
        self.feed = 25.0
        self.fan = 0.0
        self.speed_factor = 1.0
        self.retract = (0.0, 35.0, 35.0)
        self.tool = self.head = self.last_head = None
        self.loaded = {}
        self.now = self.waited = self.waited_in_steps = 0.0
        self.moves, self.exchanges, self.selects, self.waits = [], [], [], []
        self.made_up = []     # likewise, for what has oozed
        self.parked_hot = {}  # head: seconds, since it last moved filament or was only exchanged
        self.exchanged_in = None
        self.hot_when_picked = {}
        self.unsure = set()
        self.steps_fed = []   # of the lines that were put in
        self.printed = {}     # head: target at its last extrusion
        self.asked = {}       # head: its last target that was not off
        self.sure = {}        # head: what it was last waited for, unless it was set lower since
        self.waited_for = {}  # head: (so many lines of the job had fed forwards, target, not told anything since)
        self.fed = 0
        self.used_c = {}      # head: the target when its filament was last moved, or what it was before an off
        self.moved_at = {}    # head: temperature after its filament was last moved, not above the target
        self.in_use = None    # the select by which the present use began
        self.fed_in = -1      # the select after which the last filament was moved
        self.told_in = -1     # the select after whose first move of filament the job set a target
        self.sets = []        # by lines of the job: (line, head, moves before, whether within a use)
        self.stepped = {}     # head: mm that sequences have pushed since, less what they pulled
        self.block = None     # of lines of a sequence: its name, z before and after it
        self.findings = []
        self.states = {}      # before each line of the job, by its number from 0
        self.first_print = self.first_print_origin = None
        self.waited_at_start = self.began = 0.0
        self.away, self.parked = {}, []
        self.long_lines = []  # from when to when
        self.cold_starts = 0
        self.cools = {}       # line of the job: whether its M109 R finds the heater hotter than that
        self.cooled = {}      # ... and what it is for
        self.let_go = set()   # heads that were switched off, while nothing has fed forwards since
        self.user = {}        # head: the tool that it was last used with
        self.most = {}        # head: the highest target since it was last waited for until it had cooled
        self.visit_waits = {}  # number of the select from 0: what is waited for until the next: head, target, whether that is a
                               # use, by no other tool's number
        self.told = []        # (when, head, target, by the job's own wait for cooling)
        self.busy = {}        # head: when it last fed, exchanged, was waited for or got a sequence, or was put away
                              # after that
        self.busy_in = -1     # the select after which the last of these was
        self.drive, self.drives = {}, []  # at full drive: from, to, head, whether a line that was put in began it
        for line in lines:
            self.line(line)

    def state(self):
        return (self.unit, self.rel, self.erel, *(round(v, 5) for v in self.pos),
                round(self.feed, 6), round(self.fan, 6), self.tool)

    def pass_time(self, seconds):
        self.now += seconds
        if self.heat and seconds > 0:
            for heater in self.heaters:
                heater.pass_time(seconds)

    def is_busy(self):
        if self.head is not None:
            self.busy[self.head], self.busy_in = self.now, self.in_use

    def set(self, head, value, cooling=False):
        heater = self.heaters[head]
        self.told.append((self.now, head, value, cooling and self.at.origin is not None))
        if value > heater.max_c:
            self.findings.append(("above-max", self.at.number, f"target {value:g} above max_c"))
        self.cold_starts += value > 0 >= heater.target
        if value <= self.m.ambient < heater.target:
            self.let_go.add(head)
        elif value > self.m.ambient:
            self.let_go.discard(head)
        heater.set(value)
        self.most[head] = value if cooling else max(value, self.most.get(head, 0))
        drive = self.drive.pop(head, None)
        if drive is not None and drive[1] > self.now:
            drive[1] = self.now
        if heater.driven() and self.heat:
            # A drive under way goes on as what it was.
            put_in = self.at.origin is None or (drive is not None and drive[1] >= self.now and drive[3])
            self.drive[head] = [self.now, self.now + heater.seconds_of_full_drive(), head, put_in]
            self.drives.append(self.drive[head])
        self.sure[head] = min(self.sure.get(head, 0), value)
        if head in self.waited_for:
            self.waited_for[head] = (*self.waited_for[head][:2], False)
        if value > self.m.ambient:
            self.asked[head] = value
        if self.at.origin is not None:
            within = head == self.head and self.fed_in == self.in_use
            self.sets.append((self.at.origin, head, len(self.moves), within))
            if within:
                self.told_in = self.in_use

    def wait(self, head, cooling, named=None):
        heater = self.heaters[head]
        # What is waited for until it has cooled down from where it was used is no use.
        used = head == self.head and self.m.ambient < heater.target
        used = used and not (cooling and heater.target < self.used_c.get(head, 0))
        seconds = heater.seconds_until(cooling) if self.heat else 0.0
        if seconds is None:
            self.findings.append(("waits-for-ever", self.at.number, f"for {heater.target:g}"))
            seconds = 0.0
        if seconds > 0:
            self.waited += seconds
            if self.at.step:
                self.waited_in_steps += seconds
            self.waits.append(Wait(self.at.number, self.at.origin, head, seconds, cooling, self.at.step))
        if self.heat and heater.target > 0:
            seconds = max(seconds, self.m.wait_takes_s)
        self.pass_time(seconds)
        self.visit_waits.setdefault(len(self.selects) - 1, []).append(
            (head, heater.target, used and (self.m.by_heater or named in (None, self.tool))))
        if used and self.at.origin is not None:
            self.is_busy()
            self.user[head] = self.tool
            self.used_c[head] = heater.target
        self.sure[head] = heater.target
        self.waited_for[head] = (self.fed, heater.target, True)

    def put_away(self, head):
        heater = self.heaters[head]
        tool = self.loaded.get(head)  # None: what will be used first in it is not known yet
        within = self.m.heads[head]["tools"][0] if tool is None else tool
        heater.warm = min(self.m.of_filament(within, "standby_c", 175), heater.max_c) + 5
        heater.hot_s = 0.0
        self.away[head] = (tool, self.now, heater.temp)

    def mount(self, tool):
        head = self.m.of_tool[tool]
        if head in self.away:
            if self.away[head][1] <= self.began or abs(self.away[head][2] - self.heaters[head].warm) < 0.1:
                self.unsure.add(head)
            self.hot_when_picked[head] = self.heaters[head].hot_s
            self.parked_hot[head] = self.parked_hot.get(head, 0) + self.heaters[head].hot_s
            self.parked.append(Parked(self.at.number, head, *self.away[head][:2], self.now,
                                      self.heaters[head].hot_s, self.away.pop(head)[2]))
        self.tool, self.head = tool, head
        self.last_head = self.head
        self.loaded[self.head] = tool
        self.in_use = len(self.selects)

    def select(self, tool):
        old = self.head
        self.selects.append(Select(self.at.number, self.at.origin, tool, self.m.of_tool.get(tool), old,
                                   self.pos[2], self.block))
        if tool == self.tool or (tool < 0 and self.tool is None):
            return
        new = self.m.of_tool[tool] if tool >= 0 else None
        seconds = 0
        if old is not None and self.exchanged_in == self.in_use:
            self.parked_hot[old] = 0
            self.unsure.discard(old)
        if old is not None and self.busy_in != self.in_use and old in self.hot_when_picked:
            # It was picked for nothing, which is as good as parked.
            self.parked_hot[old] += self.heaters[old].hot_s - self.hot_when_picked[old]
        if old is not None and old != new and self.first_print is not None:
            self.put_away(old)
        if old is not None and old != new:
            seconds += self.m.heads[old].get("park_s", 7)
        if old is not None and old != new and self.busy_in == self.in_use:
            self.busy[old] = self.now
        if tool < 0:
            self.tool = self.head = None
            self.pass_time(seconds)
            return
        if old != new:
            seconds += self.m.heads[new].get("pick_s", 7)
        out = self.loaded.get(new, tool)
        if out != tool:
            self.stepped[new] = 0
            self.moved_at.pop(new, None)
            heater = self.heaters[new]
            self.exchanges.append(Exchange(self.at.number, self.at.origin, new, out, tool, heater.temp,
                                           heater.target, self.printed.pop(new, None), self.sure.get(new, 0)))
            seconds += self.m.of_filament(tool, "exchange_s", self.m.heads[new].get("exchange_s", 35))
        self.mount(tool)
        self.pass_time(seconds)
        if out != tool:
            self.exchanged_in = self.in_use
            self.is_busy()

    def line(self, line):
        began = self.now
        self.act(line)
        if self.now > began + 1:
            self.long_lines.append((began, self.now))

    def act(self, line):
        self.at = line
        if line.origin is not None:
            self.states[line.origin] = self.state()
        if line.step is None:
            passed = self.block
        elif self.block is None or self.block["name"] != line.step:
            passed = None
            self.block = {"name": line.step, "z": self.pos[2], "to_z": self.pos[2]}
        else:
            passed = None
        text = line.text.rstrip("\r")
        for pattern, seconds in self.m.durations:
            if pattern.search(text):
                self.pass_time(seconds)
        for pattern, what, tool in self.m.recognise:
            match = pattern.search(text)
            if match:
                groups = match.groupdict()
                if groups.get("tool") is None and tool is not None:
                    groups["tool"] = tool
                self.recognised(what, groups)
        code = re.sub(r"\(.*?\)", "", text.split(";", 1)[0].split("*", 1)[0]).strip()
        if code and not re.match(r"[A-Za-z][A-Za-z_]", code):
            words = [(a.upper(), float(b) if b else None) for a, b in WORD.findall(code)]
            if words and words[0][0] == "N":
                words = words[1:]
            if words:
                self.command(words[0], dict(words))
        if line.step is not None:
            self.is_busy()
            self.block["to_z"] = self.pos[2]
        elif passed is self.block and line.origin is not None and code:
            self.block = None

    def recognised(self, what, groups):
        if what == "change":
            self.select(int(groups["tool"]))
        elif what in ("set", "wait"):
            head = (self.m.of_heater[int(groups["heater"])] if groups.get("heater") is not None
                    else self.m.of_tool[int(groups["tool"])])
            self.set(head, float(groups["temp"]))
            if what == "wait":
                self.wait(head, False)

    def heater_of(self, value):
        if value.get("T") is not None:
            return (self.m.of_heater if self.m.by_heater else self.m.of_tool).get(int(value["T"]))
        if self.head is not None:
            return self.head
        return self.last_head if self.last_head is not None else self.m.of_tool[0]

    def command(self, first, value):
        if first[0] == "T":
            self.select(int(first[1]))
        elif first[0] == "M":
            self.m_command(first[1], value)
        elif first[0] == "G":
            self.g_command(first[1], value)

    def pause(self):
        """The job stops; its parked heaters go on to where their targets hold them."""
        for head, heater in enumerate(self.heaters):
            if head == self.head or head not in self.away or self.at.origin is None:
                continue
            self.hot_at_pause.append((self.at.number, head, heater.target))
            if self.pause_s is None and heater.temp > max(heater.target, self.m.ambient):
                target, heater.target = heater.target, 0.0
                heater.temp = max(target, self.m.ambient)
                heater.set(target)
        if self.pause_s:
            self.pass_time(self.pause_s)

    def m_command(self, code, value):
        if code in (0, 1) and (value.get("S") or value.get("P")):
            self.pass_time(value["S"] if value.get("S") else value["P"] / 1000)
        elif code in (0, 1, 25, 226, 600):
            self.pause()
        if code in (104, 109):
            head = self.heater_of(value)
            cooling = code == 109 and value.get("S") is None and value.get("R") is not None
            given = value.get("R") if cooling else value.get("S")
            if head is None:
                return
            if cooling and self.at.origin is not None:
                self.cools[self.at.origin] = self.heaters[head].temp > (given or 0) + 1
                named = int(value["T"]) if value.get("T") is not None and not self.m.by_heater else None
                self.cooled[self.at.origin] = Cooled(head, given or 0, self.most.get(head, 0), self.user.get(head),
                                                     self.loaded.get(head) if named is None else named)
            if given is not None:
                self.set(head, given, cooling)
            if code == 109:
                self.wait(head, cooling, value.get("T"))
        elif code in (82, 83):
            self.erel = code == 83
        elif code == 6 and value.get("T") is not None:
            self.select(int(value["T"]))
        elif code in (106, 107) and not value.get("P"):
            self.fan = 0.0 if code == 107 else 255.0 if value.get("S") is None else value["S"]
        elif code == 220 and value.get("S"):
            self.speed_factor = value["S"] / 100
        elif code == 207:
            mm, there, back = self.retract
            there = value["F"] / 60 if value.get("F") else there
            back = value["T"] / 60 if value.get("T") else there
            self.retract = (value.get("S") if value.get("S") is not None else mm, there, back)

    def g_command(self, code, value):
        if code in (90, 91):
            self.rel = code == 91
            if self.e_follows:
                self.erel = self.rel
        elif code in (20, 21):
            self.unit = 25.4 if code == 20 else 1.0
        elif code == 92:
            for i, a in enumerate("XYZE"):
                if value.get(a) is not None:
                    self.pos[i] = value[a] * self.unit
        elif code == 28:
            for i, a in enumerate("XYZ"):
                if a in value or not any(b in value for b in "XYZ"):
                    self.pos[i] = 0.0
        elif code == 4:
            seconds = value["S"] if value.get("S") is not None else (value.get("P") or 0) / 1000
            self.pass_time(seconds)
        elif code in (0, 1, 2, 3):
            self.move(value, int(code))
        elif code == 11 or (code == 10 and "P" not in value and "L" not in value):
            mm, there, back = self.retract
            self.filament(("retract" if code == 10 else "unretract", self.tool), code == 11)
            self.pass_time(mm / (there if code == 10 else back) * self.m.time_scale)
            self.is_busy()

    def filament(self, key, forwards):
        """A line of the job moves filament."""
        if self.head is None:
            self.mount(0)
        heater = self.heaters[self.head]
        self.parked_hot[self.head] = 0
        self.unsure.discard(self.head)
        self.exchanged_in = None
        self.moves.append(Moved(self.at.number, self.at.origin, key, forwards, self.head, self.tool, heater.temp,
                                heater.target, self.asked.get(self.head, 0),
                                self.waited_for.get(self.head), self.fed_in != self.in_use,
                                self.told_in == self.in_use))
        if forwards or heater.target > self.m.ambient or self.head in self.let_go:
            self.fed_in = self.in_use  # else it is pulled cold
        if forwards:
            self.let_go.clear()
        self.moved_at[self.head] = self.no_hotter_than_asked(heater)
        self.user[self.head] = self.tool
        self.used_c[self.head] = heater.target if heater.target > self.m.ambient else self.asked.get(self.head, 0)
        if forwards:
            self.fed += 1
            self.printed[self.head] = heater.target
            if self.stepped.pop(self.head, 0) < -1e-4:
                self.findings.append(("filament-back", self.at.number, "steps have left the filament pulled back"))

    def no_hotter_than_asked(self, heater):
        return min(heater.temp, heater.target) if heater.target > self.m.ambient else heater.temp

    def move(self, value, code):
        old = list(self.pos)
        e_relative = self.erel if self.e_follows else self.rel or self.erel
        for i, a in enumerate("XYZE"):
            if value.get(a) is not None:
                relative = e_relative if a == "E" else self.rel
                self.pos[i] = value[a] * self.unit + (old[i] if relative else 0)
        if value.get("F"):
            self.feed = value["F"] * self.unit / 60
        delta = [b - a for a, b in zip(old, self.pos)]
        delta = [0.0 if abs(d) < 1e-9 else d for d in delta]
        if self.at.origin is None and delta[3] != 0:
            head = self.head if self.head is not None else self.last_head
            heater = self.heaters[head]
            if MAKES_UP in self.at.text:
                self.made_up.append(MadeUp(self.at.number, self.at.step, delta[3], head, self.parked_hot.get(head, 0),
                                           head in self.unsure or abs(heater.target - heater.warm) < 0.1))
            else:
                self.stepped[head] = self.stepped.get(head, 0) + delta[3]
            self.steps_fed.append(StepFed(self.at.number, self.at.step, delta[3], head, self.tool, heater.temp,
                                          heater.target, self.printed.get(head), self.moved_at.get(head),
                                          len(self.moves)))
        elif delta[3] != 0:
            key = (code, self.tool, round(self.feed, 6), *(round(v, 5) for v in self.pos), round(delta[3], 5),
                   *(value.get(k) for k in "IJR"))
            self.filament(key, delta[3] > 0)
            if delta[3] > 0 and (delta[0] or delta[1] or code > 1) and self.first_print is None:
                self.first_print, self.first_print_origin = self.at.number, self.at.origin
                self.waited_at_start, self.began = self.waited, self.now
                for other in range(len(self.heaters)):
                    if other != self.head:
                        self.put_away(other)
        length = self.arc(delta, value, code) if code > 1 else math.hypot(*delta[:3])
        length = length or abs(delta[3])
        if length > 0:
            speed = max(self.feed * self.speed_factor, 1e-3)
            for d, fastest in zip(delta, self.m.fastest):
                if abs(d) / length * speed > fastest:
                    speed = fastest * length / abs(d)
            self.pass_time(length / speed * self.m.time_scale)
            if delta[3] != 0:
                self.is_busy()
                if self.at.origin is not None:
                    self.moved_at[self.head] = self.no_hotter_than_asked(self.heaters[self.head])

    def arc(self, delta, value, code):
        """The length of an arc in x and y; with R taken as straight."""
        i, j = ((value.get(k) or 0) * self.unit for k in "IJ")
        radius = math.hypot(i, j)
        if radius == 0:
            return math.hypot(*delta[:3])
        turn = math.atan2(delta[1] - j, delta[0] - i) - math.atan2(-j, -i)
        turn = -turn if code == 2 else turn
        turn %= 2 * math.pi
        if turn < 1e-9:
            turn = 2 * math.pi
        return math.hypot(radius * turn, delta[2])


def lines_of(job):
    """Of a job as it is sliced."""
    return [Line(i + 1, text, i, None) for i, text in enumerate(job.decode("latin-1").split("\n"))]


def lines_of_rewrite(rewritten):
    """What the machine acts on, and what it passes over: all but the first line and the disabled ones. Also the
    job's lines that are disabled, by their number from 0."""
    out, disabled, origin = [], {}, 0
    for number, text in enumerate(rewritten.decode("latin-1").split("\n"), 1):
        if number == 1:
            continue
        if PUT_IN in text:
            reason = text.split(PUT_IN, 1)[1].rstrip("\r")
            step = reason[5:].rsplit(": ", 1)[0] if reason.startswith("step ") else None
            out.append(Line(number, text, None, step))
        elif text.startswith(TAKEN_OUT):
            disabled[origin] = text[len(TAKEN_OUT):].rstrip("\r")
            origin += 1
        else:
            out.append(Line(number, text, origin, None))
            origin += 1
    return out, disabled


def undone(rewritten):
    """The marks, undone by hand."""
    out = b""
    for line in rewritten.splitlines(keepends=True)[1:]:
        if PUT_IN.encode() not in line:
            out += line.removeprefix(TAKEN_OUT.encode())
    return out


def main():
    original = open(sys.argv[1], "rb").read()
    rewritten = open(sys.argv[2], "rb").read()
    with open(sys.argv[3], "rb") as f:
        machine = Machine(tomllib.load(f))
    findings = []
    if undone(rewritten).rstrip(b"\r\n") != original.rstrip(b"\r\n"):
        findings.append("the marks do not lead back to the original")
    a = Replay(machine, lines_of(original))
    b = Replay(machine, lines_of_rewrite(rewritten)[0])
    findings += [f"{number}: {what}" for _, number, what in b.findings]
    for s in b.steps_fed:
        least = s.target if s.printed is None else min(s.target, s.printed)
        if s.mm > 0 and s.temp < least - COLD:
            findings.append(f"{s.number}: a step pushes at {s.temp:.1f}, not {least:.0f}")
    if [m.key for m in a.moves] != [m.key for m in b.moves]:
        findings.append("the extruding moves differ")
    want = [line.text for line in lines_of(original)[: a.first_print]]
    have = [text for text in rewritten.decode("latin-1").split("\n")[1:] if PUT_IN not in text]
    if want != have[: a.first_print]:
        findings.append("the start code differs")
    for asked, move in zip(a.moves, b.moves):
        if move.forwards and move.temp < asked.target - COLD:
            findings.append(f"{move.number}: extrudes at {move.temp:.1f}, printed at {asked.target:.0f}")
    for x in b.exchanges:
        wanted = x.printed or 0
        if x.temp < wanted - COLD or x.target < wanted:
            findings.append(f"{x.number}: exchange at {x.temp:.1f}, target {x.target:.0f}, the filament "
                            f"in it was printed at {wanted:.0f}")
    for head, heater in zip(machine.heads, b.heaters):
        if heater.target > 0:
            findings.append(f"{head['name']} is left on at {heater.target:.0f}")
    if b.waited > a.waited:
        findings.append(f"waits {b.waited:.0f} s, the original {a.waited:.0f} s")
    # Beyond the start code, which stays as it is, next to nothing is waited for.
    before, after = a.waited - a.waited_at_start, b.waited - b.waited_at_start
    if after > 0.005 * before:
        findings.append(f"waits {after:.1f} s after the start code, more than 0.5 % of the original's {before:.0f} s")
    print(f"{sum(m.forwards for m in b.moves)} extruding moves, {len(b.exchanges)} exchanges, waits "
          f"{a.waited:.0f} -> {b.waited:.0f} s, after the start code {before:.0f} -> {after:.1f} s")
    for finding in findings[:20]:
        print(finding)
    sys.exit(1 if findings else 0)


if __name__ == "__main__":
    main()
