"""Rewrites whose filaments have moved to other tools: by hand, from the marks, the job that had always had them there and
its rewrite, so that judge.py can judge these as any others; and whether filament is moved and waited for as in the job as
it was. Findings are as judge.py has them."""
import copy

from judge import COLD_C, PULL_COLD_C, Judged, has_waited
from replay import PUT_IN, TAKEN_OUT, Machine, Replay, lines_of, undone

MAPPED = PUT_IN + "mapped "


def random_map(r, tools):
    """Where each tool's filament goes: all of them, some, or two that change places."""
    moved = r.sample(tools, r.choice([2, 2, 3, len(tools)]) if len(tools) > 2 else len(tools))
    places = moved[:]
    while places == moved:
        r.shuffle(places)
    return dict(zip(moved, places))


def rules_as_loaded(rules, to):
    """The rule file's tables with each filament where it is then."""
    out = copy.deepcopy(rules)
    for filament in out.get("filament", []):
        filament["tool"] = to.get(filament["tool"], filament["tool"])
    return out


def body(rewritten):
    """The lines after the first two, of which the second says where all go, each with whether it was put in, and is one
    of those by which filaments have moved."""
    lines = rewritten.decode("latin-1").split("\n")
    assert lines[1].startswith(MAPPED), "the second line says where filaments go"
    return [(text, PUT_IN in text, MAPPED in text) for text in lines[2:]]


def code_of(text):
    return text.split(PUT_IN, 1)[0] + ("\r" if text.endswith("\r") else "")


def moved_job(as_sliced):
    """Of a rewrite that plans nothing, the lines of the job as it is with its filaments moved: the number, from 0, of the
    line of the original that each stands for, or None, and its text."""
    out, origin, stood_for = [], 0, False
    for text, put_in, mapped in body(as_sliced):
        if put_in and mapped:
            out.append((out.pop()[0] if stood_for else None, code_of(text)))
            stood_for = False
        elif not put_in:
            stood_for = text.startswith(TAKEN_OUT)
            out.append((origin, text.removeprefix(TAKEN_OUT)))
            origin += 1
    return out


def as_rewrite_of(job, rewritten):
    """`rewritten` as that of the moved job, and what does not fit."""
    out, wrong = [rewritten.decode("latin-1").split("\n", 1)[0]], []
    lines = iter(body(rewritten))
    held = next(lines, None)
    for origin, text in job:
        while held is not None and held[1] and not (held[2] and origin is None):
            out.append(held[0])
            held = next(lines, None)
        if held is None:
            wrong.append(f"nothing stands for {text!r}")
            break
        have, put_in, _ = held
        held = next(lines, None)
        if put_in:
            off = have.startswith(";")
            if code_of(have)[off:] != text:
                wrong.append(f"{have!r} stands for {text!r}")
            out.append((TAKEN_OUT if off else "") + text)
            continue
        if not have.startswith(TAKEN_OUT):
            if have != text:
                wrong.append(f"{have!r} stands for {text!r}")
            out.append(text)
        elif held is not None and held[2] and code_of(held[0]) == text:
            out.append(text)
            held = next(lines, None)
        else:
            out.append(TAKEN_OUT + text)
    while held is not None:
        out.append(held[0])
        held = next(lines, None)
    return "\n".join(out).encode("latin-1"), wrong


class MappedJudged:
    """A job, its rules and map; its rewrite by that, and one by which nothing else is done to it."""

    def __init__(self, rules, to, original, rewritten, as_sliced):
        self.to, self.original, self.rewritten, self.as_sliced = to, original, rewritten, as_sliced
        self.found = []
        lines = moved_job(as_sliced)
        self.moved = "\n".join(text for _, text in lines).encode("latin-1")
        rewrite, wrong = as_rewrite_of(lines, rewritten)
        self.found += [("map-marks", w) for w in wrong]
        self.judged = Judged(rules_as_loaded(rules, to), self.moved, rewrite)
        self.by_origin = {origin: i for i, (origin, _) in enumerate(lines) if origin is not None}
        self.lines = lines
        self.machine = Machine(rules)
        self.a = Replay(self.machine, lines_of(original))
        self.m, self.b = self.judged.a, self.judged.b

    def say(self, category, detail):
        self.found.append((category, detail))

    def all(self):
        for text in (self.rewritten, self.as_sliced):
            if undone(text).rstrip(b"\r\n") != self.original.rstrip(b"\r\n"):
                self.say("map-marks", "undone by hand they do not give the original")
        if self.filaments():
            self.visits()
            self.cooling()
        return self.found + self.judged.all()

    def filaments(self):
        """Each is moved by the tool that it is at then, in order, at the target of the job as it was, and hot."""
        if len(self.a.moves) != len(self.b.moves):
            self.say("map-moves", f"{len(self.b.moves)}, not {len(self.a.moves)}")
            return False
        ambient = self.machine.ambient
        begins = forwards = 0
        started = False  # whether the present use began after the start code
        for x, m, y in zip(self.a.moves, self.m.moves, self.b.moves):
            key = (x.key[0], self.to.get(x.key[1], x.key[1]), *x.key[2:])
            if y.key != key:
                self.say("map-moves", f"line {y.number}: {y.key}, not {key}")
                return False
            if x.first:
                begins = forwards
                started = self.a.first_print_origin is not None and x.origin > self.a.first_print_origin
            name = self.machine.heads[y.head]["name"]
            kind = "" if x.forwards else "-pull"
            cold = x.forwards or x.target > ambient or has_waited(x, begins)
            for z, of in ((y, ""), (m, "-as-sliced")):
                if x.target > ambient and abs(z.target - x.target) > 0.01:
                    self.say(f"map-target{kind}{of}", f"line {y.number}: {name} is told {z.target:g}, T{x.tool} was "
                                                      f"at {x.target:g}")
                elif x.target <= ambient < z.target and of:
                    self.say(f"map-target-off{kind}{of}", f"line {y.number}: {name} is told {z.target:g}, T{x.tool} "
                                                          "was off")
                elif x.target <= ambient and has_waited(x, begins) and abs(z.asked_c - x.asked_c) > 0.01:
                    # What has been let go of may be heated to where it was.
                    self.say(f"map-asked{kind}{of}", f"line {y.number}: {name} was told {z.asked_c:g} last, T{x.tool} "
                                                     f"{x.asked_c:g}")
            slack = COLD_C if x.target > ambient else PULL_COLD_C
            # What start code begins stays as the job has it, on whatever heater.
            if cold and started and not x.told and y.temp < min(x.temp, x.target if x.target > ambient else x.asked_c) - slack:
                self.say("map-cold" + kind, f"line {y.number}: {name} at {y.temp:.1f}, T{x.tool} was at {x.temp:.1f}, "
                                            f"target {x.target:g}")
            forwards += x.forwards
        return True

    def visits(self):
        """What is waited for in a visit that does nothing else is waited for in it still."""
        moved = {move.origin for move in self.a.moves}
        if len(self.a.selects) != len(self.b.selects):
            self.say("map-selects", f"{len(self.b.selects)}, not {len(self.a.selects)}")
            return
        for k, (x, y) in enumerate(zip(self.a.selects, self.b.selects)):
            last = k + 1 == len(self.a.selects)
            end = None if last else self.a.selects[k + 1]
            if any(x.origin <= o and (last or o <= end.origin) for o in moved) or x.head is None:
                continue
            if end is not None and end.head == x.head:
                continue  # it may have been for what comes next
            have = [temp for head, temp, _ in self.b.visit_waits.get(k, []) if head == y.head]
            for head, temp, used in self.a.visit_waits.get(k, []):
                if used and head == x.head and max(have, default=0) < temp:
                    self.say("map-wait-lost", f"line {y.number}: T{x.tool} was waited for at {temp:g}, now {have}")

    def cooling(self):
        """A wait for cooling down is for the filament that its heater was last used with."""
        for origin, c in self.a.cooled.items():
            if not self.a.cools[origin] or c.most <= c.target or c.user is None:
                continue
            tools = [self.to.get(t, t) for t in (c.user, c.named)]
            goes_to = [self.machine.of_tool[t] for t in tools]
            at = self.by_origin[origin]
            where = f"line {at + 1} of the moved job: {self.lines[at][1].strip()}"
            if at in self.m.cooled:
                m = self.m.cooled[at]
                if m.head not in goes_to or m.target != c.target:
                    self.say("map-cooling", f"{where}: T{tools[0]} is meant")
                elif m.most <= m.target < 170:  # else it is to be used at that
                    self.say("map-cooling-cold", f"{where}: it is not hot")
                continue
            # Left out: another has the toolhead, or comes next in it, or it has cooled down already.
            tool, head = tools[0], goes_to[0]
            before = [move for move in self.m.moves if move.head == head and move.origin < at]
            after = [select for select in self.m.selects if select.head == head and select.origin > at]
            others = [of.tool != tool for of in (before[-1:] + after[:1])]
            cooled = [line for line, of in self.m.cooled.items() if line < at and of.head == head
                      and of.target <= c.target and not any(line < move.origin < at for move in before)]
            if not any(others) and not cooled:
                self.say("map-cooling-lost", f"{where}: T{tool} has it alone")
