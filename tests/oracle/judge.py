"""What is wrong with a rewrite, by the replays of both texts. Each finding is a category and its case.

What a job asks for at a move of filament is the target that its heater has there, in the job as it is; where the
heater is off there, what it was last told but that. No more is asked than the job's own temperature at that move: a job
that never waits is no fault of the rewrite's. Nor is it the rewrite's if the job sets another target within a use and
moves on while its heater is on its way there. Tolerances are below."""
import math
import re

from replay import PUT_IN, Machine, Replay, lines_of, lines_of_rewrite, undone

COLD_C = 4.0       # by which filament may be colder than asked for
PULL_COLD_C = 6.0  # ... where the heater is off already, and cools while sequences are given
WAIT_S = 0.5       # by which waits may be longer than those of another plan ...
WAIT_SHARE = 0.01
HABITS_S = 2.0     # more, where a target counts as reached before it is
OFF_S = 2.0        # for which a heater may be on after its last use
OVER_S = 1.0       # by which the heating limit may be broken in all
CLOCK_S = 1.5      # ... and times differ from what the program's own clock says
CLOCK_SHARE = 0.01
FIELDS = ["units", "G91", "M83", "x", "y", "z", "e", "feed", "fan", "tool"]


def has_waited(move, begins):
    """Whether its heater was waited for, hot, since `begins` lines had fed forwards, or not told anything since."""
    return move.waited is not None and (move.waited[0] >= begins or move.waited[2]) and move.waited[1] > 30


class Judged:
    """A job, its rules and its rewrite."""

    def __init__(self, rules, original, rewritten):
        self.rules = rules
        self.machine = Machine(rules)
        self.original, self.rewritten = original, rewritten
        self.found = []
        self.a_lines = lines_of(original)
        self.b_lines, self.disabled = lines_of_rewrite(rewritten)
        gap = rules.get("gap", {})
        splits = gap.get("policy", "lookahead") == "lookahead" and gap.get("at_pause") != "as-planned"
        self.a = Replay(self.machine, self.a_lines, pause_s=0)
        self.b = Replay(self.machine, self.b_lines, pause_s=None if splits else 0)
        self.shares = []  # by which steps differ from what they make up for

    def of(self, tool, key, otherwise=None):
        return self.machine.of_filament(tool, key, otherwise)

    def say(self, category, detail):
        self.found.append((category, detail))

    def all(self):
        if undone(self.rewritten).rstrip(b"\r\n") != self.original.rstrip(b"\r\n"):
            self.say("marks", "undone by hand they do not give the original")
        for category, number, what in self.b.findings:
            if (category, what) not in {(c, w) for c, _, w in self.a.findings}:
                self.say(category, f"line {number}: {what}")
        self.start_code()
        same = self.moves(self.a, self.b, "moves")
        if same:
            self.heat()
        self.exchanges()
        self.steps()
        self.made_up()
        self.lines_kept()
        for head, heater in zip(self.machine.heads, self.b.heaters):
            if heater.target > 0:
                self.say("left-on", f"{head['name']} at {heater.target:g}")
        self.off()
        self.states(self.a, self.b, "state")
        self.lift()
        if self.rules.get("gap", {}).get("policy", "lookahead") == "lookahead":
            self.hot()
            self.power()
            self.pauses()
        self.second_reading()
        return self.found

    def pauses(self):
        """No parked heater waits hotter than its standby over a pause, and however long each is, nothing is fed cold."""
        at_pause = self.rules.get("gap", {}).get("at_pause", "standby")
        for number, head, target in self.b.hot_at_pause:
            tools = self.machine.heads[head]["tools"]
            allowed = 0 if at_pause == "off" else max(self.of(t, "standby_c", 175) for t in tools)
            if target > allowed:
                self.say("hot-at-pause", f"line {number}: {self.machine.heads[head]['name']} waits at {target:g}")
        if not self.b.hot_at_pause:
            return
        a, b = self.a, self.b
        for seconds in (0, 600, 18000):
            self.a, self.b = (Replay(self.machine, lines, pause_s=seconds) for lines in (self.a_lines, self.b_lines))
            self.heat()
            self.exchanges()
            self.steps()
        self.a, self.b = a, b

    def start_code(self):
        first = self.a.first_print_origin
        if first is None:
            return
        want = [line.text for line in self.a_lines[:first]]
        have = self.rewritten.decode("latin-1").split("\n")[1:]
        if have[:first] != want:
            self.say("start-code", "differs before the first print move")

    def moves(self, a, b, category):
        for x, y in zip(a.moves, b.moves):
            if x.key != y.key or x.origin != y.origin:
                self.say(category, f"line {y.number}: {y.key}, not {x.key}")
                return False
        if len(a.moves) != len(b.moves):
            self.say(category, f"{len(b.moves)}, not {len(a.moves)}")
            return False
        return True

    def after_start(self, origin):
        return self.a.first_print_origin is not None and origin >= self.a.first_print_origin

    def heat(self):
        ambient = self.machine.ambient
        begins = forwards = 0  # lines that had fed forwards when the present use began, and have by now
        fed = False            # in the present use
        for x, y in zip(self.a.moves, self.b.moves):
            if x.first:
                begins, fed = forwards, False
            name = self.machine.heads[y.head]["name"]
            kind = "" if x.forwards else "-pull"
            if x.target > ambient:
                if abs(y.target - x.target) > 0.01:
                    self.say("target" + kind, f"line {y.number}: {name} is told {y.target:g}, in the job {x.target:g}")
                elif not x.told and y.temp < min(x.temp, x.target) - COLD_C:
                    self.say("cold" + kind, f"line {y.number}: {name} at {y.temp:.1f}, asked {x.target:g}, "
                                            f"in the job {x.temp:.1f}")
            elif has_waited(x, begins) and y.temp < min(x.temp, x.asked_c) - PULL_COLD_C:
                self.say("cold-off" + kind, f"line {y.number}: {name} at {y.temp:.1f}, in the job, though off, "
                                            f"{x.temp:.1f}")
            if self.after_start(x.origin) and x.target > ambient:
                waited = has_waited(y, begins) and abs(y.waited[1] - y.target) < 0.01
                if x.forwards and not fed and not waited:
                    self.say("use-no-wait", f"line {y.number}: {name}, {y.target:g} C")
                elif x.first and not x.forwards and has_waited(x, begins) and not waited:
                    self.say("pull-no-wait", f"line {y.number}: {name}, {y.target:g} C")
            fed = fed or x.forwards
            forwards += x.forwards

    def visit_ends(self, origin, tool):
        """The line of the job, after that at `origin`, that selects another tool."""
        return next((s.origin for s in self.a.selects if s.origin > origin and s.tool != tool), math.inf)

    def exchanges(self):
        prints = {}  # line of the select that exchanges: the first move after it, before another tool is selected
        moves = iter(self.a.moves)
        move = next(moves, None)
        for x in self.a.exchanges:
            while move is not None and move.origin < x.origin:
                move = next(moves, None)
            if move is not None and move.origin < self.visit_ends(x.origin, x.into):
                prints[x.origin] = move
        by_line = {x.origin: x for x in self.b.exchanges}
        for x in self.a.exchanges:
            if not self.after_start(x.origin):
                continue
            y = by_line.get(x.origin)
            if y is None:
                self.say("exchange-lost", f"line {x.number} of the job")
                continue
            out = self.of(x.out, "exchange_c")
            into = self.of(x.into, "exchange_c", 0)
            if x.printed is None:
                out = 0  # nothing is known to be in it
            elif out is None:
                out = x.printed
            need = max(out, into)
            if y.temp < need - COLD_C:
                self.say("exchange-cold", f"line {y.number}: T{x.out} to T{x.into} at {y.temp:.1f}, target "
                                          f"{y.target:g}, needs {out:g} to go out, {into:g} to come in")
            work = prints[x.origin].target if x.origin in prints else 0
            hottest = max(need, work)
            known = work > self.machine.ambient and x.printed is not None
            if y.target < hottest - 0.01 or (known and y.target > hottest + 0.01):
                self.say("exchange-target", f"line {y.number}: {y.target:g}, the hottest of all is {hottest:g}")
            if y.sure_c < need - 0.01:
                self.say("exchange-no-wait", f"line {y.number}: only {y.sure_c:g} is sure, needs {out:g} to go out, "
                                             f"{into:g} to come in")

    def steps(self):
        cooler = {name for name, steps in self.rules.get("steps", {}).items()
                  if any("temp_c" in s or "temp_offset_c" in s for s in steps)}
        ambient = self.machine.ambient
        for s in self.b.steps_fed:
            if s.step is None:
                self.say("step-unknown", f"line {s.number}: moves filament for no sequence")
                continue
            if s.step in cooler:
                continue
            # What is pushed asks for what it is printed at; what is pulled, for what the job itself pulls it at. What
            # goes out by an exchange may have a temperature of its own for that.
            exchange_c = None
            if self.of(s.tool, "before_exchange") == s.step:
                exchange_c = self.of(s.tool, "exchange_c")
            work = self.next_target(s) if s.mm > 0 else None
            if work is not None:
                least = work
            elif s.mm > 0:
                # What was only exchanged has no temperature of its own to go out at.
                least = min(s.target, s.printed or s.moved_at or 0, exchange_c or s.target)
            else:
                least = min(s.moved_at or 0, s.printed or 0, exchange_c or math.inf,
                            s.target if s.target > ambient else math.inf)
            if s.temp < least - (COLD_C if s.mm > 0 else PULL_COLD_C) or (s.mm > 0 and s.target <= ambient):
                self.say("step-cold", f"line {s.number}: {s.step} moves {s.mm:g} mm at {s.temp:.1f}, target "
                                      f"{s.target:g}, asked for {least:.1f}")

    def made_up(self):
        """What steps push for what has oozed, each by itself: within 5 % and what is rounded."""
        for m in self.b.made_up:
            if m.unsure:
                continue
            steps = [s for s in self.rules.get("steps", {}).get(m.step, []) if "make_up_mm_per_min" in s]
            wanted = [min(s["make_up_mm_per_min"] * m.hot_s / 60, s.get("at_most_mm", 3)) for s in steps]
            self.shares.extend(abs(m.mm - w) / w for w in wanted[:1] if w > 0.1)
            if not any(abs(m.mm - w) <= 0.05 * w + 0.02 for w in wanted):
                self.say("make-up", f"line {m.number}: {m.step} pushes {m.mm:g} mm for {m.hot_s:.1f} s, not {wanted}")

    def next_target(self, s):
        """Of the use that a sequence after an exchange or a pick leads to; None if there is none."""
        after = {self.machine.heads[s.head].get("after_pick"), self.of(s.tool, "after_exchange")}
        before = {self.machine.heads[s.head].get("before_park"), self.of(s.tool, "before_exchange"),
                  self.machine.heads[s.head].get("at_last_use"), self.of(s.tool, "at_last_use")}
        if s.step not in after - before or s.moves >= len(self.a.moves):
            return None
        move = self.a.moves[s.moves]
        here = max((x.origin for x in self.b.selects if x.number < s.number), default=-1)
        same = move.tool == s.tool and move.first and move.origin < self.visit_ends(here, s.tool)
        return move.target if same and move.target > self.machine.ambient else None

    def hot(self):
        """No parked heater is hot for long beyond what its filament allows, what it takes to cool and to heat
        again, and lines in which no command can stand."""
        for p in self.b.parked:
            if p.tool is None:
                continue
            head = self.machine.heads[p.head]["heater"]
            allowed = self.of(p.tool, "max_hot_idle_s", 900)
            longest = max((b - a for a, b in self.b.long_lines if b > p.from_s and a < p.to_s), default=0)
            tau = head["time_constant_s"]
            extra = self.rules.get("gap", {}).get("lead_extra_s", 0)
            most = allowed + 3 * tau + 2 * longest + head.get("dead_time_s", 0) + extra + 120
            if p.hot_s > most:
                self.say("hot-long", f"line {p.number}: {self.machine.heads[p.head]['name']} was hot for {p.hot_s:.0f} "
                                     f"s of {p.to_s - p.from_s:.0f} s parked, {allowed:g} s are allowed")

    def power(self):
        """Preheats that were put in keep the heating limit."""
        machine = self.rules.get("machine", {})
        if "heating_limit_w" not in machine:
            return
        limit = machine["heating_limit_w"] - machine.get("bed_w", 0)
        changes = sorted(t for d in self.b.drives for t in d[:2] if t >= self.b.began)
        over, worst = 0.0, ""
        for start, end in zip(changes, changes[1:]):
            on = [d for d in self.b.drives if d[0] <= start and d[1] >= end and d[1] > d[0]]
            watts = sum(self.machine.heads[d[2]]["heater"]["power_w"] for d in on)
            if watts > limit + 1e-6 and any(d[3] for d in on) and end - start > 0.05:
                over += end - start
                worst = worst or f"{watts:g} W from {start:.1f} s on"
        if over > OVER_S:
            self.say("over-limit", f"{over:.1f} s over {limit:g} W, first {worst}")

    def off(self):
        """After its last use a heater is on no more, but where the job itself waits for it to cool."""
        for h, head in enumerate(self.machine.heads):
            if h not in self.b.busy:
                continue
            told = [(when, value, own) for when, of, value, own in self.b.told if of == h]
            hot_s = 0.0
            for (when, value, own), then in zip(told, [*(t[0] for t in told[1:]), self.b.now]):
                if value > self.machine.ambient and not own:
                    hot_s += max(0.0, then - max(when, self.b.busy[h], self.b.began))
            if hot_s > OFF_S:
                self.say("off-late", f"{head['name']} is on for {hot_s:.0f} s after its last use")

    def lines_kept(self):
        """Only targets may be disabled, but neither within a use nor waits for cooling."""
        for origin, head, moves, within in self.a.sets:
            if origin in self.disabled and within and moves < len(self.a.moves):
                move = self.a.moves[moves]
                if move.head == head and not move.first:
                    self.say("use-target-lost", f"line {origin + 1} of the job: {self.disabled[origin]}")
        last = {}
        for move in self.a.moves:
            last[move.head] = move.origin
        for origin, text in self.disabled.items():
            code = re.sub(r"^N\d+ ?", "", text, flags=re.I)
            if not re.match(r"M10[49](?!\d)|WARM_HEAD|AWAIT_HEAD", code, re.I):
                self.say("line-lost", f"line {origin + 1} of the job: {text}")
            # What is heated but never used need not be hot, nor cool down.
            used = origin not in self.a.cooled or self.a.cooled[origin].user is not None
            if used and re.match(r"M109(?!\d)[^;]*R\d", code, re.I) and self.a.cools.get(origin, True):
                ended = origin > max(last.values(), default=-1)
                self.say("cooling-wait-lost" if ended else "cooling-wait-lost-within",
                         f"line {origin + 1} of the job: {text}")

    def states(self, a, b, category):
        selects = {s.origin: s for s in b.selects if s.origin is not None}
        for origin in sorted(a.states):
            if origin not in b.states:
                continue
            x, y = a.states[origin], b.states[origin]
            if x == y:
                continue
            select = selects.get(origin)
            for field, p, q in zip(FIELDS, x, y):
                raised = field == "z" and select is not None and select.block is not None and q > p
                if p != q and not raised and (not isinstance(p, float) or abs(p - q) > 2e-5):
                    self.say(f"{category}:{field}", f"before line {origin + 1} of the job: {q}, not {p}")
                    return

    def lift(self):
        """What has been lifted before its toolhead is put away stays so until it is."""
        steps = self.rules.get("steps", {})
        for s in self.b.selects:
            if s.block is None or s.from_head is None or s.from_head == s.head:
                continue
            name = s.block["name"]
            if name != self.machine.heads[s.from_head].get("before_park"):
                continue
            if any("back" in step or "z" in step.get("move_mm", {}) for step in steps[name]):
                continue
            lift = sum(step.get("lift_mm", 0) for step in steps[name])
            if s.z < s.block["z"] + lift - 1e-3:
                self.say("lift", f"line {s.number}: put away at z = {s.z:g}, {name} began at {s.block['z']:g} "
                                 f"and lifts {lift:g}")

    def second_reading(self):
        """As read by a machine whose G90 and G91 set the mode of E, too. Only where the job by itself
        means the same to both."""
        a = Replay(self.machine, self.a_lines, e_follows=True, heat=False)
        if [m.key for m in a.moves] != [m.key for m in self.a.moves]:
            return
        b = Replay(self.machine, self.b_lines, e_follows=True, heat=False)
        if not self.moves(a, b, "moves-2"):
            return
        fed, again = ([(s.number, s.step, round(s.mm, 4)) for s in r.steps_fed] for r in (self.b, b))
        if fed != again:
            p, q = next((p, q) for p, q in zip(fed + [None], again + [None]) if p != q)
            self.say("steps-2", f"feed {q}, not {p}")
            return
        self.states(a, b, "state-2")


def clocks(judged, forecast, policy):
    """The program's figures beside the replay's."""
    out = []
    for name, replay in (("as_sliced", judged.a), (policy, judged.b)):
        said = forecast["policies"][name]
        waited = replay.waited - (replay.waited_in_steps if name != "as_sliced" else 0)
        for what, p, q in (("duration", said["duration_s"], replay.now), ("wait", said["wait_s"], waited)):
            if abs(p - q) > CLOCK_S + CLOCK_SHARE * q:
                out.append((f"forecast-{what}", f"{name}: {p:.1f} s, by the replay {q:.1f} s"))
        if said["cold_starts"] != replay.cold_starts:
            out.append(("forecast-cold-starts", f"{name}: {said['cold_starts']}, by the replay {replay.cold_starts}"))
    if policy == "lookahead":
        p, q = forecast["idle"]["longest_without_command_s"], max((b - a for a, b in judged.b.long_lines), default=0)
        if q > 1 and abs(p - q) > CLOCK_S + CLOCK_SHARE * q:
            out.append(("forecast-idle", f"{p:.1f} s without a command, by the replay {q:.1f} s"))
    return out


def waits_longer(judged, hold, habits=False):
    """Than holding does. With `habits`, what is preheated may be less than held by what counts as reached, and has not settled
    where a sequence asks for its target again."""
    a, b = (r.waited - (r.waited_in_steps if habits else 0) for r in (judged.b, hold))
    if habits:
        b += HABITS_S
    if a <= b + WAIT_S + WAIT_SHARE * b:
        return []
    longest = {w.origin if w.origin is not None else -w.number: w for w in judged.b.waits}
    worst = max(longest.values(), key=lambda w: w.seconds)
    return [("wait-over-hold", f"{a:.1f} s, holding {b:.1f} s; the longest, {worst.seconds:.1f} s, in line "
                               f"{worst.number}")]
