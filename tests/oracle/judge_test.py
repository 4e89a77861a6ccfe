#!/usr/bin/env python3
"""The judge itself: a rewrite made by hand is good, and each way of spoiling it is found, by the name it should have.

Usage: judge_test.py   Prints what is wrong; exit 1 if anything is."""
import math
import sys
import tomllib

from judge import Judged
from replay import Heater, lines_of_rewrite, undone

RULES = """
version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 40, full_drive_c = 450, time_constant_s = 60, dead_time_s = 1, max_c = 260 }
before_park = "tuck"
after_pick = "untuck"
[[toolhead]]
name = "birch"
tools = [1, 2]
heater = { power_w = 40, full_drive_c = 450, time_constant_s = 60, max_c = 260 }
exchange_s = 20
[[filament]]
tool = 2
exchange_c = 230
max_hot_idle_s = 60
[steps]
tuck = [ { feed_mm = -5, speed_mm_s = 20 }, { lift_mm = 1 } ]
untuck = [ { feed_mm = 5, speed_mm_s = 5 } ]
"""

# Lines of the job as they are; `-` before what the rewrite disables, `+` before what it puts in.
REWRITE = """
  G21
  G90
  M83
  M104 T0 S210
  M104 T1 S220
  T0
  M109 T0 S210
  G1 X10 Y10 F6000
+ M104 T1 S175 ;fw+ standby: parked 22 s
  G1 X110 Y10 E3 F600
  G1 X10 E3
+ M104 T1 S220 ;fw+ preheat: 4 s ahead
  G1 Y20 E1
- M104 T0 S170
+ M400 ;fw+ step tuck: T0 comes back with it
+ G1 E-5 F1200 ;fw+ step tuck: T0 comes back with it
+ G1 Z1 F500 ;fw+ step tuck: T0 comes back with it
+ G92 E7 ;fw+ step tuck: T0 comes back with it
+ G1 F600 ;fw+ step tuck: T0 comes back with it
+ M104 T0 S175 ;fw+ standby: parked 130 s
  T1
+ G1 Z0 ;fw+ step tuck: T0 comes back with it
  M109 T1 S220
  G1 X10 Y20 F6000
  G1 X210 E5 F600
  M104 S225
  G1 X10 E5
  G1 E-1 F1800
+ M109 T1 S230 ;fw+ wait: hot before the exchange to T2
  T2
  M109 T2 S220
  G91
  G1 Z0.2
  G90
  M83
  G1 E1 F1800
  G1 X210 E5 F600
+ M104 T0 S210 ;fw+ preheat: 30 s ahead
  G1 X10 E5
  G1 E-1 F1800
+ M104 T1 S0 ;fw+ off: parked 50 s
  T0
  M109 T0 S210
+ G1 E5 F300 ;fw+ step untuck: it is back
+ G92 E26 ;fw+ step untuck: it is back
+ G1 F1800 ;fw+ step untuck: it is back
+ M104 T1 S220 ;fw+ preheat: 40 s ahead
  G1 X310 E5 F600
  G1 X10 E5
+ M104 T0 S0 ;fw+ off: no further use
  T2
  M109 T2 S220
  G1 E-40 F1500
+ M104 T1 S0 ;fw+ off: no further use
  M104 T1 S0
  M104 T0 S0
  M106 S255
  M109 T1 R50
  M104 T1 S0
  M107
"""

# What is replaced, by what, and what has to be found then.
SPOILT = [
    ("  G1 X210 E5 F600\n  M104 S225", "  G1 X210 E4 F600\n  M104 S225", "marks"),
    ("- M104 T0 S170\n", "", "marks"),
    ("  M104 T0 S210\n  M104 T1 S220\n", "  M104 T0 S210\n+ M104 T1 S0 ;fw+ off\n  M104 T1 S220\n", "start-code"),
    ("  G1 X210 E5 F600\n  M104 S225", "- G1 X210 E5 F600\n  M104 S225", "moves"),
    ("  G1 X210 E5 F600\n  M104 S225", "- G1 X210 E5 F600\n  M104 S225", "line-lost"),
    ("+ M104 T1 S175 ;fw+ standby: parked 22 s\n", "+ M104 T1 S280 ;fw+ hold\n", "above-max"),
    ("  G1 X10 E3\n", "+ M104 T0 S190 ;fw+ standby\n  G1 X10 E3\n", "target"),
    ("  M109 T0 S210\n+ G1 E5", "- M109 T0 S210\n+ M104 T0 S210 ;fw+ back\n+ G1 E5", "use-no-wait"),
    ("+ M104 T0 S210 ;fw+ preheat: 30 s ahead\n  G1 X10 E5\n  G1 E-1 F1800\n+ M104 T1 S0 ;fw+ off: parked 50 s\n  T0\n"
     "  M109 T0 S210\n", "  G1 X10 E5\n  G1 E-1 F1800\n+ M104 T1 S0 ;fw+ off: parked 50 s\n  T0\n- M109 T0 S210\n"
     "+ M104 T0 S210 ;fw+ back\n", "cold"),
    ("+ M104 T0 S210 ;fw+ preheat: 30 s ahead\n  G1 X10 E5\n  G1 E-1 F1800\n+ M104 T1 S0 ;fw+ off: parked 50 s\n  T0\n"
     "  M109 T0 S210\n", "  G1 X10 E5\n  G1 E-1 F1800\n+ M104 T1 S0 ;fw+ off: parked 50 s\n  T0\n- M109 T0 S210\n"
     "+ M104 T0 S210 ;fw+ back\n", "step-cold"),
    ("  M109 T2 S220\n  G1 E-40", "- M109 T2 S220\n  G1 E-40", "pull-no-wait"),
    ("+ M104 T1 S220 ;fw+ preheat: 40 s ahead\n", "", "exchange-cold", "  T2\n  M109 T2 S220\n  G1 E-40",
     "  T1\n  M109 T1 S220\n  G1 E-40"),
    ("+ M104 T1 S220 ;fw+ preheat: 40 s ahead\n", "", "cold-pull", "  M109 T2 S220\n  G1 E-40",
     "- M109 T2 S220\n+ M104 T2 S220 ;fw+ back\n  G1 E-40"),
    ("  M109 T2 S220\n  G1 E-40", "- M109 T2 S220\n+ M104 T1 S180 ;fw+ standby\n  G1 E-40", "target-pull"),
    ("  M109 T2 S220\n  G1 E-40", "  M109 T2 S220\n  M104 T1 S0\n  G1 E-40", None),
    ("  M109 T2 S220\n  G1 E-40", "- M109 T2 S220\n  M104 T1 S0\n  G1 E-40", "cold-off-pull",
     "+ M104 T1 S220 ;fw+ preheat: 40 s ahead\n", ""),
    ("+ M109 T1 S230 ;fw+ wait: hot before the exchange to T2\n", "", "exchange-cold"),
    ("+ M109 T1 S230 ;fw+ wait: hot before the exchange to T2\n", "", "exchange-no-wait"),
    ("+ M109 T1 S230 ;fw+ wait: hot before the exchange to T2\n", "", "exchange-target"),
    ("+ M109 T1 S230 ;fw+ wait: hot before the exchange to T2\n",
     "+ M109 T1 S230 ;fw+ wait\n+ M104 T1 S240 ;fw+ hotter\n", "exchange-target"),
    ("  M104 S225\n", "- M104 S225\n", "use-target-lost"),
    ("  M109 T1 R50\n", "- M109 T1 R50\n", "cooling-wait-lost"),
    ("+ M104 T0 S0 ;fw+ off: no further use\n", "", "off-late"),
    ("  M104 T1 S0\n  M107", "- M104 T1 S0\n  M107", "left-on"),
    ("+ G1 F600 ;fw+ step tuck: T0 comes back with it\n", "", "state:feed"),
    ("+ G92 E7 ;fw+ step tuck: T0 comes back with it\n", "", "state:e"),
    ("+ G1 Z0 ;fw+ step tuck: T0 comes back with it\n", "", "state:z"),
    ("+ M400 ;fw+ step tuck: T0 comes back with it\n", "+ G20 ;fw+ step tuck: T0\n", "state:units"),
    ("+ M400 ;fw+ step tuck: T0 comes back with it\n", "+ M82 ;fw+ step tuck: T0\n", "state:M83"),
    ("+ M400 ;fw+ step tuck: T0 comes back with it\n", "+ M106 S9 ;fw+ step tuck: T0\n", "state:fan"),
    ("+ G1 F600 ;fw+ step tuck: T0 comes back with it\n",
     "+ G1 F600 ;fw+ step tuck: T0 comes back with it\n+ G1 Z0 ;fw+ step tuck: T0 comes back with it\n", "lift"),
    ("+ M400 ;fw+ step tuck: T0 comes back with it\n", "+ G90 ;fw+ step tuck: T0 comes back with it\n", "steps-2",
     "+ G1 F600 ;fw+ step tuck", "+ M83 ;fw+ step tuck: T0 comes back with it\n+ G1 F600 ;fw+ step tuck"),
    ("+ G1 F1800 ;fw+ step untuck: it is back\n",
     "+ G1 F1800 ;fw+ step untuck: it is back\n+ G90 ;fw+ step untuck: it is back\n", "moves-2"),
    ("+ G1 E5 F300 ;fw+ step untuck: it is back\n", "", "filament-back"),
    ("+ G1 E5 F300 ;fw+ step untuck: it is back\n", "+ G1 E5 F300 ;fw+ because\n", "step-unknown"),
    ("+ M104 T1 S0 ;fw+ off: parked 50 s\n", "", None),
    ("  G1 X310 E5 F600\n", "  G4 S30\n" * 60 + "  G1 X310 E5 F600\n", "hot-long",
     "+ M104 T1 S0 ;fw+ off: parked 50 s\n", ""),
]


def texts(plan):
    """The job and the rewrite."""
    job, rewritten = [], [";forewarm 1 rules=0 original=0:0"]
    for line in plan.strip("\n").split("\n"):
        mark, text = line[0], line[2:]
        if mark != "+":
            job.append(text)
        rewritten.append(";fw- " + text if mark == "-" else text)
    return ("\n".join(job) + "\n").encode(), ("\n".join(rewritten) + "\n").encode()


def judge(plan, job=None):
    own, rewritten = texts(plan)
    return Judged(tomllib.loads(RULES), job or own, rewritten).all()


def spoil(wrong):
    good_job, _ = texts(REWRITE)
    for old, new, category, *more in SPOILT:
        plan = REWRITE
        for before, after in ((old, new), *zip(more[::2], more[1::2])):
            if plan.count(before) != 1:
                wrong.append(f"{before!r} is in the text {plan.count(before)} times")
            plan = plan.replace(before, after)
        # Where the marks are spoilt the job stays what it was; else it may be another job.
        found = judge(plan, good_job if category == "marks" else None)
        names = [c for c, _ in found]
        if category is None and found:
            wrong.append(f"{new!r} is good, but: {found}")
        elif category is not None and category not in names:
            wrong.append(f"{old!r} -> {new!r}: {category} is not found, but {found}")


def heaters(wrong):
    """Against figures worked out by hand: T = end + (T0 - end) exp(-t / tau)."""
    def near(what, have, want):
        if abs(have - want) > 1e-6:
            wrong.append(f"{what}: {have}, not {want}")

    h = Heater({"time_constant_s": 100, "full_drive_c": 420, "dead_time_s": 4}, 20)
    h.set(200)
    h.pass_time(4)
    near("dead time, cold", h.temp, 20)
    h.pass_time(10)
    near("driven", h.temp, 420 - 400 * 0.9048374180359595)
    near("until it is there", h.seconds_until(False), 100 * 0.5978370007556204 - 10)  # ln(400 / 220)
    h.pass_time(h.seconds_until(False))
    near("held", h.temp, 200)
    h.set(210)
    h.pass_time(4)
    near("dead time from held", h.temp, 200)
    h.pass_time(1)
    h.set(230)  # the drive goes on, without another dead time
    h.pass_time(1)
    near("driven on", h.temp, 420 - 220 * 0.9801986733067553)
    h.set(100)
    h.pass_time(10)
    near("cooling", h.temp, 20 + (420 - 220 * 0.9801986733067553 - 20) * 0.9048374180359595)
    h.set(0)
    h.pass_time(1)
    h.set(250)
    before = h.temp
    h.pass_time(4)
    near("dead time while cooling", h.temp, 20 + (before - 20) * 0.9607894391523232)
    h.set(50)
    near("until it has cooled", h.seconds_until(True), 100 * math.log((h.temp - 20) / 30))
    near("not waited for from above", h.seconds_until(False), 0)


def main():
    wrong = []
    job, rewritten = texts(REWRITE)
    if undone(rewritten) != job:
        wrong.append("undone() does not give the job")
    if len(lines_of_rewrite(rewritten)[1]) != 1:
        wrong.append("one line is disabled")
    found = judge(REWRITE)
    if found:
        wrong.append(f"the good rewrite: {found}")
    heaters(wrong)
    spoil(wrong)
    for line in wrong:
        print(line)
    print(f"{len(SPOILT)} ways to spoil a rewrite, {len(wrong)} failures")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
