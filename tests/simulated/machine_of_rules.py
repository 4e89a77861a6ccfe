#!/usr/bin/env python3
"""Derives the description of a simulated machine from a rule file: the machine that the rules describe, with
habits that they do not (two lags, a controller, waits that stay), made weaker or slower by stated factors.

  machine_of_rules.py RULES.toml                                  the rules say the truth, but for those habits
  machine_of_rules.py RULES.toml --full-drive 0.85 --dead-time 1.15 --exchange 1.2 --time 1.07
  machine_of_rules.py RULES.toml --set wait.stay_s=5 --set motion.corner=jerk

The rule file's dead time is split: two fifths of it until drive acts at all, the rest by the sensor's lag, which
delays any long climb by tau ln(tau / (tau - lag)). Times and heaters are spread as the
rules say of them. The bed is warm at once, as rules take it to be. Homing takes what a [[duration]] that matches
G28 says."""
import argparse
import json
import math
import re
import sys
import tomllib

ACTS_AT_ALL = 0.4  # of the dead time
# Habits, of a machine that is neither the best nor the worst: common practice, no source.
CONTROL = {"gain_per_c": 0.025, "integral_s": 200.0}
COOLS = 0.85  # time constant undriven / driven: parked in a draught
WAIT = {"within_c": 1.0, "stay_s": 5.0, "least_s": 1.0}


def lag_of(delay_s, tau_s):
    """The second lag that delays a long climb by delay_s: the inverse of tau ln(tau / (tau - lag))."""
    return tau_s * (1 - math.exp(-delay_s / tau_s))


def delay_of(lag_s, tau_s):
    return tau_s * math.log(tau_s / (tau_s - lag_s))


def heater_of(head, full_drive, dead_time, time_constant, ambient_c, heater_error):
    rule = head["heater"]
    tau = rule["time_constant_s"] * time_constant
    dead = rule.get("dead_time_s", 0) * dead_time
    return {
        "index": rule.get("index", head["tools"][0]),
        "full_drive_c": ambient_c + (rule["full_drive_c"] - ambient_c) * full_drive,
        "time_constant_s": tau,
        "cool_time_constant_s": rule.get("cool_time_constant_s", tau * COOLS),
        "sensor_lag_s": round(lag_of(dead * (1 - ACTS_AT_ALL), tau), 4),
        "dead_time_s": round(dead * ACTS_AT_ALL, 4),
        "drive_sd": heater_error,
        **CONTROL,
    }


def standby_of(rules, tool):
    for filament in rules.get("filament", []):
        if filament["tool"] == tool:
            material = rules.get("material", {}).get(filament.get("material"), {})
            return filament.get("standby_c", material.get("standby_c", 175))
    return 175


def toolhead_of(rules, head, exchange):
    odds = rules.get("feeder", {}).get("fault_odds", 0)
    gap = rules.get("gap", {})
    park_sd = gap.get("park_spread_s", 0.5)
    return {
        "name": head["name"],
        "tools": head["tools"],
        "heater": head["heater"].get("index", head["tools"][0]),
        "park": {"mean_s": head.get("park_s", 7), "sd_s": park_sd},
        "pick": {"mean_s": head.get("pick_s", 7), "sd_s": park_sd},
        "exchange": {"mean_s": head.get("exchange_s", 35) * exchange, "sd_s": gap.get("exchange_spread_s", 3)},
        "pick_stop_odds": head.get("fault_odds", 0),
        "exchange_stop_odds": odds,
        "hot_above_c": {str(tool): standby_of(rules, tool) + 5 for tool in head["tools"]},
    }


def motion_of(rules, time):
    motion = rules.get("motion", {})
    axes = lambda key, default: [motion.get(key, {}).get(axis, value) for axis, value in zip("xyze", default)]
    out = {
        "corner": "jerk",
        "jerk_mm_s": axes("jerk_mm_s", [8, 8, 0.4, 5]),
        "max_speed_mm_s": axes("max_speed_mm_s", [300, 300, 12, 60]),
        "max_accel_mm_s2": axes("max_accel_mm_s2", [3000, 3000, 200, 5000]),
        "accel_mm_s2": motion.get("accel_mm_s2", 1500),
        "time_factor": motion.get("time_scale", 1) * time,
        "time_sd": rules.get("gap", {}).get("time_error", 0.03),
    }
    if "right_angle_mm_s" in motion:
        out |= {"corner": "right_angle", "right_angle_mm_s": motion["right_angle_mm_s"]}
    elif "junction_deviation_mm" in motion:
        out |= {"corner": "deviation", "deviation_mm": motion["junction_deviation_mm"]}
    return out


def machine_of(rules, full_drive=1.0, dead_time=1.0, time_constant=1.0, exchange=1.0, time=1.0, stops=True):
    ambient_c = rules.get("machine", {}).get("ambient_c", 23)
    homing = [d["seconds"] for d in rules.get("duration", []) if re.search(d["match"], "G28")]
    machine = {
        "ambient_c": ambient_c,
        "homing_s": homing[0] if homing else 0,
        "temperature_index": rules.get("dialect", {}).get("temperature_index", "tool"),
        "wait": dict(WAIT),
        "bed": {"instant": True},
        "motion": motion_of(rules, time),
        "heaters": [heater_of(h, full_drive, dead_time, time_constant, ambient_c, rules.get("gap", {}).get("heater_error", 0.05))
                    for h in rules["toolhead"]],
        "toolheads": [toolhead_of(rules, h, exchange) for h in rules["toolhead"]],
    }
    if not stops:
        for head in machine["toolheads"]:
            head["pick_stop_odds"] = head["exchange_stop_odds"] = 0
    return machine


def put(machine, path_and_value):
    """wait.stay_s=5; heaters.*.gain_per_c=0.1: in all of a list."""
    path, _, text = path_and_value.partition("=")
    try:
        value = json.loads(text)
    except json.JSONDecodeError:
        value = text

    def into(node, names):
        if names[0] == "*":
            for one in node:
                into(one, names[1:])
        elif len(names) == 1:
            node[names[0]] = value
        else:
            into(node.setdefault(names[0], {}), names[1:])

    into(machine, path.split("."))
    return machine


def seconds_to_reach(heater, from_c, to_c, approach_c, reached_c):
    """By the rules' formula: full drive down to approach_c from the target, a faster decay from there."""
    full, tau = heater["full_drive_c"], heater["time_constant_s"]
    dead = heater["dead_time_s"] + delay_of(heater["sensor_lag_s"], tau)
    driven = tau * math.log((full - from_c) / (full - to_c + approach_c))
    return dead + driven + tau / (1 + (full - to_c) / approach_c) * math.log(approach_c / reached_c)


def keys_of(machine, from_c, to_c, took_s):
    """What rules would say of the habits of its first heater, whose wait from `from_c` to `to_c` took `took_s`:
    ({heater key: value}, {dialect key: value})."""
    heater, wait = machine["heaters"][0], machine["wait"]
    low, high = wait["within_c"], to_c - from_c
    for _ in range(60):
        middle = (low + high) / 2
        takes = seconds_to_reach(heater, from_c, to_c, middle, wait["within_c"])
        low, high = (middle, high) if takes < took_s - wait["stay_s"] else (low, middle)
    keys = {"approach_c": round(low, 1), "reached_c": wait["within_c"], "settle_s": wait["stay_s"]}
    if heater.get("cool_time_constant_s", 0) > 0:
        keys["cool_time_constant_s"] = heater["cool_time_constant_s"]
    return keys, {"wait_takes_s": wait["least_s"]}


def with_keys(text, heater, dialect):
    """The text of a rule file with these keys in every heater, whichever way it is written, and in [dialect]."""
    lines = "".join(f"{k} = {v}\n" for k, v in heater.items())
    text = re.sub(r"^\[toolhead\.heater\][^\n]*\n", lambda m: m[0] + lines, text, flags=re.M)
    inline = "".join(f", {k} = {v}" for k, v in heater.items())
    text = re.sub(r"^(\s*heater\s*=\s*\{[^}]*?)\s*\}", lambda m: m[1] + inline + " }", text, flags=re.M)
    lines = "".join(f"{k} = {v}\n" for k, v in dialect.items())
    if re.search(r"^\[dialect\]", text, re.M):
        return re.sub(r"^\[dialect\][^\n]*\n", lambda m: m[0] + lines, text, count=1, flags=re.M)
    return text.rstrip("\n") + "\n\n[dialect]\n" + lines


def with_options(p):
    for name in ("full-drive", "dead-time", "time-constant", "exchange", "time"):
        p.add_argument("--" + name, type=float, default=1.0, metavar="FACTOR")
    p.add_argument("--no-stops", action="store_true", help="nothing stops the machine")
    p.add_argument("--set", action="append", default=[], metavar="PATH=VALUE", help="of the description; * is all of a list")
    return p


def from_arguments(rules, a):
    machine = machine_of(rules, a.full_drive, a.dead_time, a.time_constant, a.exchange, a.time, not a.no_stops)
    for one in a.set:
        put(machine, one)
    return machine


def main():
    p = with_options(argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter))
    p.add_argument("rules")
    a = p.parse_args()
    with open(a.rules, "rb") as file:
        machine = from_arguments(tomllib.load(file), a)
    json.dump(machine, sys.stdout, indent=2)
    print()


if __name__ == "__main__":
    main()
