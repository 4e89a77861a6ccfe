"""A random small job with a rule file that fits it; the same seed gives the same bytes.

Jobs are such as slicers and people write: each heats what it prints with, by one of the many ways to do so, and
is right by itself. Moves are few and slow. E is written so that it does not matter whether G90 and G91 set its
mode, too; but in some jobs, which are not `portable`."""
import random

from mapped import random_map
from rule_maker import Rules


class Job:
    """`more`: another source of chances, for uses without printing and waits for cooling down, in greater number and
    more ways. `pauses`: one for pauses."""

    def __init__(self, r, rules, more=None, pauses=None):
        self.r, self.rules, self.more, self.pauses = r, rules, more, pauses
        self.out = []
        self.ending = "\r\n" if r.random() < 0.15 else "\n"
        self.numbered = r.random() < 0.1
        self.count = 0
        self.inches = r.random() < 0.07
        self.relative_e = r.random() < 0.6
        self.portable = r.random() < 0.85
        self.firmware_retracts = r.random() < 0.15
        self.changes = r.random() < 0.5    # CHANGE_TO, where there are macros
        self.compact = r.random() < 0.04
        self.retract_mm = r.choice([0, 0.8, 2])
        self.leave = r.choice(["", "standby", "off", "mixed", "mixed"])
        self.heat_before = r.choice([0, 0, 0.15, 0.7])
        self.early = r.choice([0, 0, 0.3])
        self.e = 0.0
        self.x = self.y = 50.0
        self.z = 0.2
        self.target = {h: 0 for h in range(len(rules.heads))}
        self.tool = None        # as selected
        self.last = None        # the last one, though it was put away since
        self.loaded = {}
        self.printed = False    # past the start code
        self.fed = False        # in the present visit
        self.implied = False    # whether it prints before it selects any tool
        self.pulled = set()     # heads whose filament is retracted
        self.write()

    # Lines.

    def line(self, text):
        if self.compact and text[0] in "GMT" and not text.startswith(("M117", "G28", "M110")):
            text = text.replace(" ", "").lower()
        if self.numbered and text[0] in "GMTAWCgmt":
            self.count += 1
            body = f"N{self.count} {text}"
            check = 0
            for byte in body.encode():
                check ^= byte
            text = f"{body}*{check}"
        self.out.append(text)

    def mm(self, value):
        text = f"{value / 25.4 if self.inches else value:.5f}".rstrip("0").rstrip(".")
        return text if text not in ("-0", "") else "0"

    def f(self, mm_s):
        return " F" + self.mm(mm_s * 60)

    def set(self, tool, temp, wait=False, named=True, word="S"):
        self.target[self.rules.head_of[tool]] = temp
        if self.rules.macros and word == "S":
            self.line(f"{'AWAIT_HEAD' if wait else 'WARM_HEAD'} {self.rules.index_of(tool)} {temp}")
            return
        mounted = self.tool if self.tool is not None else self.last
        here = mounted is not None and self.rules.head_of[mounted] == self.rules.head_of[tool]
        index = self.rules.index_of(tool) if self.rules.by_heater else tool
        who = "" if here and not named else f" T{index}"
        self.line(f"{'M109' if wait else 'M104'}{who} {word}{temp}")

    def e_word(self, mm):
        if self.relative_e:
            return " E" + self.mm(mm)
        self.e += mm
        return " E" + self.mm(self.e)

    def extrude(self, distance, mm_s):
        """In x or y, there and back again."""
        if self.r.random() < 0.5:
            self.x += distance if self.x < 100 else -distance
            place = " X" + self.mm(self.x)
        else:
            self.y += distance if self.y < 100 else -distance
            place = " Y" + self.mm(self.y)
        self.line("G1" + place + self.e_word(distance * 0.03) + self.f(mm_s))
        self.printed = True

    def feed(self, mm, mm_s=30):
        self.line("G1" + self.e_word(mm) + self.f(mm_s))

    def travel(self):
        self.x, self.y = self.r.uniform(10, 190), self.r.uniform(10, 190)
        self.line(f"G0 X{self.mm(self.x)} Y{self.mm(self.y)}{self.f(150)}")

    def retract(self, back=False):
        head = self.rules.head_of[self.tool]
        if back != (head in self.pulled):
            return
        (self.pulled.discard if back else self.pulled.add)(head)
        if self.firmware_retracts:
            self.line("G11" if back else "G10")
        elif self.retract_mm:
            self.feed(self.retract_mm if back else -self.retract_mm)
        else:
            self.pulled.discard(head)

    def mode_of_e(self):
        self.line("M83" if self.relative_e else "M82")

    def stretch(self):
        """Some lines in G91."""
        what = self.r.randrange(4)
        self.line("G91")
        if what == 0:
            self.line(f"G1 Z{self.mm(0.6)}{self.f(10)}")
            self.line(f"G1 Z{self.mm(-0.6)}{self.f(10)}")
        elif what == 1:
            self.line(f"G1 E{self.mm(-1)}{self.f(30)}")
            self.line(f"G0 X{self.mm(5)}{self.f(100)}")
            self.line(f"G1 E{self.mm(1)}{self.f(30)}")
            self.x += 5
        elif what == 2:
            self.line(f"G1 X{self.mm(8)} E{self.mm(0.3)}{self.f(30)}")
            self.x += 8
            self.e += 0.3
        else:
            self.line(f"G0 Y{self.mm(-4)}{self.f(120)}")
            self.y -= 4
        self.line("G90")
        if self.portable and self.relative_e:
            self.mode_of_e()

    def chance(self, share):
        return self.more is not None and self.more.random() < share

    # Parts of a job.

    def write(self):
        r = self.r
        self.start_code()
        order = self.order()
        for k, tool in enumerate(order):
            self.visit(tool, order[k + 1] if k + 1 < len(order) else None, order[k + 2:], first=k == 0)
        self.end_code()
        if r.random() < 0.1:
            self.out.append("; the end, without a line ending")

    def text(self):
        end = "" if self.out[-1].startswith("; the end") else self.ending
        return (self.ending.join(self.out) + end).encode()

    def order(self):
        r = self.r
        tools = r.sample(self.rules.tools, min(len(self.rules.tools), r.randint(2, 6)))
        order = [r.choice(tools)]
        for _ in range(r.choice([1, 2, 3, 5, 8, 12])):
            order.append(r.choice([t for t in tools if t != order[-1]] or tools))
        return order

    def start_code(self):
        r, rules = self.r, self.rules
        self.out.append("; trail map, a small one")
        if self.numbered:
            self.out.append("M110 N0")
        self.line("G20" if self.inches else "G21")
        self.line("G90")
        self.mode_of_e()
        if r.random() < 0.5:
            self.line("M140 S60")
        how = r.choice(["none", "standby", "all", "some", "some", "all-wait", "low"])
        for t in [h["tools"][0] for h in rules.heads]:
            if how == "standby":
                self.set(t, r.choice([120, 150, 170]))
            elif how in ("all", "all-wait") or (how == "some" and r.random() < 0.5):
                self.set(t, rules.work[t], wait=how == "all-wait" and r.random() < 0.5)
            elif how == "low":
                self.set(t, r.choice([60, 90]))
        self.line("G28")
        if r.random() < 0.5:
            self.line("M190 S60")
        if self.firmware_retracts and r.random() < 0.7:
            self.line(f"M207 S{r.choice([0.8, 1.5])} F2400")
        if r.random() < 0.3:
            self.line("G92 E0")
            self.e = 0.0
        prepared = r.random()
        if prepared < 0.15:  # wiped cold
            for t in r.sample([h["tools"][0] for h in rules.heads], r.randint(1, len(rules.heads))):
                self.select(t)
                self.set(t, r.choice([130, 150]), wait=True)
                self.line(f"G0 X{self.mm(r.uniform(0, 40))} Y{self.mm(2)}{self.f(60)}")
                self.out.append("BRUSH")
        elif prepared < 0.3:  # primed hot
            for t in r.sample([h["tools"][0] for h in rules.heads], r.randint(1, len(rules.heads))):
                self.select(t)
                self.set(t, rules.work[t], wait=True)
                self.feed(r.choice([5, 12]), 4)
                if r.random() < 0.5:
                    self.retract()
                if r.random() < 0.6:
                    self.set(t, r.choice([0, 150, 170]))
        elif prepared < 0.36:
            t = rules.heads[0]["tools"][0]
            self.set(t, 150, wait=True, word="R" if not rules.macros else "S")
        if r.random() < 0.2:
            self.line(f"M204 S{r.choice([150000, 300000])}")

    def may_pause(self, chance):
        p = self.pauses
        if p is not None and self.printed and p.random() < chance:
            for _ in range(p.choice([1, 1, 1, 2])):
                self.line(p.choice(["M0", "M1", "M25", "M226", "M600", "M1 S3", "M0 P500"]))

    def select(self, tool):
        if tool < 0:
            self.line("T-1")
            self.tool = None
            return
        if self.rules.macros and self.changes:
            self.line(f"CHANGE_TO {tool}")
        else:
            self.line(f"T{tool}" if self.r.random() < 0.97 else f"M6 T{tool}")
        self.tool = self.last = tool
        self.loaded[self.rules.head_of[tool]] = tool

    def left(self, tool):
        """What the job itself tells the heater of a tool that is left."""
        how = self.leave if self.leave != "mixed" else self.r.choice(["", "standby", "off"])
        if how == "standby":
            self.set(tool, self.r.choice([150, 170, 175]), named=self.r.random() < 0.8)
        elif how == "off":
            self.set(tool, 0)

    def visit(self, tool, after, later, first=False):
        r, rules = self.r, self.rules
        work, head, old = rules.work[tool], rules.head_of[tool], self.tool
        implied = first and old is None and tool == 0 and r.random() < 0.3
        self.implied = self.implied or implied
        kinds, weights = ["print", "short", "long", "nothing", "dwell", "pull"], [57, 10, 7, 10, 4, 6]
        if first or not self.printed:
            kinds, weights = ["print", "short", "long"], [60, 10, 5]
        kind = r.choices(kinds, weights)[0]
        if self.printed and self.chance(0.2):
            kind = self.more.choice(["wait", "wait", "pull", "pull", "pull-off"])
        # Put away, heated, taken.
        waited = False
        if old is not None and old != tool:
            # What was selected for nothing is retracted seldom: it may be cold.
            if self.printed and r.random() < (0.3 if self.fed else 0.03):
                self.retract()
            if self.printed and self.fed and self.chance(0.06):
                self.cool(old)
            if kind == "pull-off" and self.chance(0.5):
                self.set(tool, 0)
            leaves_first = r.random() < 0.5
            if leaves_first and rules.head_of[old] != head:
                self.left(old)
            if self.printed and r.random() < self.heat_before:
                self.set(tool, work, wait=r.random() < 0.7)
                waited = True
            self.may_pause(0.2)
            if self.printed and r.random() < 0.04:
                self.select(-1)
                self.may_pause(0.3)
            lifted = self.printed and r.random() < 0.08
            if lifted:
                self.line("G91")
                self.line(f"G1 Z{self.mm(1)}{self.f(10)}")
            self.select(tool)
            if lifted:
                self.line(f"G1 Z{self.mm(-1)}{self.f(10)}")
                self.line("G90")
                if self.portable and self.relative_e:
                    self.mode_of_e()
            self.may_pause(0.15)
            if not leaves_first and rules.head_of[old] != head:
                self.left(old)
        elif not implied and old != tool:
            self.select(tool)
        if implied:
            self.tool = self.last = tool
            self.loaded[head] = tool
        elif r.random() < 0.04:
            self.select(tool)  # redundant
        self.fed = kind not in ("nothing", "dwell")
        if kind == "nothing":
            if r.random() < 0.3:
                self.travel()
            return
        if kind == "dwell":
            self.line(f"G4 S{r.choice([5, 45, 300])}")
            return
        if kind == "wait":
            self.only_wait(tool)
            return
        if kind == "pull-off":  # what is hot is let go of, and pulled
            if self.target[head] > 0:
                self.set(tool, 0, named=self.chance(0.5))
            self.feed(-self.more.choice([3, 80]), 25)
            return
        how = 1.0
        if not (waited and self.target[head] == work and r.random() < 0.7):
            hot = self.target[head] == work
            how = r.random()
            if how < 0.7 or (first and how < 0.95):
                self.set(tool, work, wait=True, named=r.random() < 0.6)
            elif how < 0.8:
                self.set(tool, work, named=True)
                self.travel()
                self.set(tool, work, wait=True, named=r.random() < 0.5)
            elif how < 0.86 and not rules.macros:
                self.set(tool, work, wait=True, word="R")
            elif not hot:
                self.set(tool, work)
        if kind == "pull":
            self.pull(tool, waited or how < 0.86)
            return
        if r.random() < 0.15:
            self.line(f"M106 S{r.choice([80, 255])}")
        self.z += 0.2 if r.random() < 0.6 else 0
        self.travel()
        self.line(f"G1 Z{self.mm(self.z)}{self.f(12)}")
        if r.random() < (0.1 if self.relative_e else 0.25):
            self.line("G92 E0")
            self.e = 0.0
        self.retract(back=True)
        self.printing(kind, tool, after, later)

    def pull(self, tool, waited):
        """A use that moves filament backwards only."""
        r = self.r
        if waited and r.random() < 0.25:
            self.set(tool, 0)
        for _ in range(r.choice([1, 1, 3])):
            if r.random() < 0.4:
                self.line("G91")
                self.line(f"G1 E{self.mm(-r.choice([5, 40, 80]))}{self.f(25)}")
                self.line("G90")
                if self.portable and self.relative_e:
                    self.mode_of_e()
                self.line("G92 E0")
                self.e = 0.0
            else:
                self.feed(-r.choice([5, 40, 80]), 25)
        if r.random() < 0.5:
            self.set(tool, 0)

    def only_wait(self, tool):
        """A visit in which the heater is waited for, and no filament moves."""
        m = self.more
        if self.target[self.rules.head_of[tool]] > 100 and not self.rules.macros and m.random() < 0.3:
            self.line("M109" if m.random() < 0.5 else
                      f"M109 T{self.rules.index_of(tool) if self.rules.by_heater else tool}")
        else:
            self.set(tool, self.rules.work[tool] - m.choice([0, 0, 0, 15]), wait=True, named=m.random() < 0.6)
        if m.random() < 0.4:
            self.travel()
        if m.random() < 0.3:
            self.set(tool, m.choice([0, 150]), named=m.random() < 0.5)

    def cool(self, tool):
        """What is mounted is waited for until it has cooled down."""
        if not self.rules.macros:
            self.set(tool, self.more.choice([90, 150, 165]), wait=True, named=self.more.random() < 0.5, word="R")

    def printing(self, kind, tool, after, later):
        r, rules = self.r, self.rules
        if kind == "short":
            for _ in range(r.choice([1, 2])):
                self.extrude(r.uniform(2, 15), 40)
        else:
            if kind == "long":
                total, piece = r.choice([900, 1800, 3000]), r.choice([15, 30, 60])
            else:
                total = r.choice([8, 25, 60, 60, 120, 200, 400])
                piece = total / r.choice([4, 8, 20])
            passed = 0
            early = total * r.random() if after is not None and r.random() < self.early else None
            far = total * r.random() if later and r.random() < 0.06 else None
            while passed < total:
                mm_s = r.choice([8, 12, 20]) if piece > 10 else r.choice([20, 40])
                seconds = min(piece * r.uniform(0.5, 1.5), total - passed + 0.5)
                self.extrude(seconds * mm_s, mm_s)
                passed += seconds
                if early is not None and passed > early and rules.head_of[after] != rules.head_of[tool]:
                    self.set(after, rules.work[after], wait=r.random() < 0.1)
                    early = None
                if far is not None and passed > far:
                    other = r.choice(later)
                    if rules.head_of[other] != rules.head_of[tool]:
                        self.set(other, rules.work[other], wait=True)
                    far = None
                self.event(tool)
        if r.random() < 0.6:
            self.retract()
        if r.random() < 0.15:
            self.line("M107")

    def event(self, tool):
        """Something else, between two moves of a use."""
        self.may_pause(0.02)
        r, rules = self.r, self.rules
        if r.random() > 0.1:
            return
        what = r.randrange(16)
        if what == 0:
            self.line(f"G4 S{r.choice([1, 30, 60])}")
        elif what == 1:
            self.line("G4 P500")
        elif what == 2:
            self.set(tool, rules.work[tool] + r.choice([-5, 5, 10]), named=r.random() < 0.5)
        elif what == 3 and not rules.macros:
            self.set(tool, rules.work[tool] - r.choice([5, 15]), wait=True, named=r.random() < 0.5, word="R")
        elif what == 4:
            self.line(f"M220 S{r.choice([50, 80, 100, 130])}")
        elif what == 5:
            self.line(f"M221 S{r.choice([95, 100, 105])}")
        elif what == 6:
            self.line(f"M204 P{r.choice([100000, 250000])} T250000")
        elif what == 7:
            self.line(f"T{tool}")
        elif what in (8, 9):
            self.stretch()
        elif what == 10:
            self.line(f"M106 S{r.choice([0, 128, 255])}")
        elif what == 11 and not self.relative_e:
            self.line("G92 E0")
            self.e = 0.0
        elif what == 12:
            self.retract()
            self.travel()
            self.retract(back=True)
        elif what == 14:
            self.x += 20
            self.line(f"G2 X{self.mm(self.x)} Y{self.mm(self.y)} I{self.mm(10)} J0{self.e_word(0.9)}{self.f(20)}")
        elif what == 15:
            self.out.append(r.choice(["", "; M104 S0", ";T1", "(a remark)", "M117 T0 is next"]))
        elif what == 13:
            x, y = self.mm(self.x), self.mm(self.y)
            if self.inches:
                self.out.append("BRUSH")
            else:
                self.line("G20")
                self.line(f"G0 X{self.x / 25.4:.5f} Y{self.y / 25.4:.5f} F300")
                self.line("G21")
                self.line(f"G0 X{x} Y{y}{self.f(100)}")

    def end_code(self):
        r, rules = self.r, self.rules
        if r.random() < 0.25:  # mounted still, long after it last fed
            for _ in range(r.randint(1, 3)):
                what = r.randrange(3)
                if what == 0:
                    self.line("G4 S600")
                elif what == 1:
                    self.line(f"G4 S{r.choice([20, 120])}")
                else:
                    self.line(f"G1 X{self.mm(self.x + 400)}{self.f(4)}")
        if r.random() < 0.25:  # all is unloaded
            heads = r.sample(rules.heads, r.randint(1, len(rules.heads)))
            for h in heads:
                t = self.loaded.get(rules.heads.index(h), h["tools"][0])
                if self.tool != t:
                    self.select(t)
                self.set(t, rules.work[t], wait=True, named=r.random() < 0.5)
                self.pull(t, True)
        self.line(f"G1 X{self.mm(10)} Y{self.mm(200)}{self.f(100)}")
        off = r.choice(["all", "all", "some", "none", "last"])
        cooled = r.random() < 0.3 and not rules.macros
        for i, h in enumerate(rules.heads):
            if off == "all" or (off == "some" and r.random() < 0.5):
                self.set(h["tools"][0], 0)
        if off == "last" and self.last is not None:
            self.set(self.last, 0, named=False)
        if cooled:
            t = self.last if r.random() < 0.8 else r.choice(rules.tools)
            if r.random() < 0.5:
                self.line("M106 S255")
            self.set(t, r.choice([50, 80, 120]), wait=True, named=r.random() < 0.5, word="R")
            if r.random() < 0.6:
                self.set(t, 0)
            self.line("M107")
        if self.chance(0.3) and not rules.macros:  # several have to be cool before the fan stops
            if self.more.random() < 0.5:
                self.set(self.last, 0)
            self.line("M106 S255")
            for t in self.more.sample(rules.tools, self.more.randint(1, min(3, len(rules.tools)))):
                self.set(t, self.more.choice([50, 60, 120]), wait=True, named=self.more.random() < 0.8, word="R")
            self.line("M107")
        if r.random() < 0.1 and self.tool is not None:
            self.select(-1)
        if r.random() < 0.1:
            self.set(r.choice(rules.tools), 160)  # left on
        self.line("M140 S0")
        self.line("M84")
        if r.random() < 0.3:
            self.line("M81")


class Case:
    """`odd`: with more uses that do not print; `map` says where filaments may go; `habits`: with heaters and waits as
    machines really have them; `pauses`: with pauses in the job."""

    def __init__(self, seed, limits=False, odd=False, habits=False, make_up=False, pauses=False):
        r = random.Random(seed)
        self.seed, self.limits = seed, limits
        self.rules = Rules(r, limits)
        if habits:
            self.rules.habits(random.Random(f"{seed}, habits"))
        if make_up:
            self.rules.make_up(random.Random(f"{seed}, make up"))
        more = random.Random(f"{seed}, odd") if odd else None
        pause = random.Random(f"{seed}, pauses") if pauses else None
        if pause is not None and pause.random() < 0.3:
            self.rules.gap["at_pause"] = "off"
        job = Job(r, self.rules, more, pause)
        # What prints before any select is T0's, and stays so.
        movable = [t for t in self.rules.tools if t != 0 or not job.implied]
        self.map = random_map(more, movable) if odd and len(movable) > 1 else {}
        self.job = job.text()
        self.portable = job.portable
        self.policy = self.rules.gap.get("policy", "lookahead")
        self.rules_text = self.rules.text()
        self.hold_text = self.rules.text(policy="hold")
        self.as_sliced_text = self.rules.text(policy="as-sliced")
