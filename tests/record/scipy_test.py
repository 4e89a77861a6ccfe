#!/usr/bin/python3
"""`forewarm calibrate` against SciPy's least_squares, on records made at random: the same constants,
within a tenth of a standard error, and the same standard errors.

It runs by Debian's Python, to which Debian's SciPy belongs. SciPy minimises over all constants at
once, from a start near the truth; the model is written anew here.

Usage: scipy_test.py FOREWARM [RECORDS]. Exit 77, which ctest takes for skipped, without SciPy."""
import json
import math
import pathlib
import random
import subprocess
import sys
import tempfile

SKIPPED = 77
try:
    import numpy as np
    from scipy.optimize import least_squares
except ImportError:
    print("skipped: there is no SciPy; scripts/setup --tests installs it")
    sys.exit(SKIPPED)

RULES = """version = 1
[machine]
ambient_c = {ambient}
[[toolhead]]
name = "ash"
tools = [0]
heater = {{ power_w = 50, full_drive_c = 450, time_constant_s = 180 }}
"""


def machine(rng):
    return {"ambient": round(rng.uniform(15, 30), 1), "rise": rng.uniform(60, 600),
            "tau": rng.uniform(60, 300), "dead": rng.uniform(1, 10), "drive": rng.choice([1, 1, 0.5, 0.25]),
            "noise": rng.choice([0.1, 0.3, 0.6]), "step": rng.choice([0.0, 0.0, 0.1, 0.3]),
            "every": rng.uniform(0.5, 3)}


def made(rng, m):
    """Rows of time, temperature and drive: a heat-up from its first row, then a cool-down."""
    times, t = [], 0.0
    up_s = m["tau"] * rng.uniform(0.7, 2.5)
    while t < up_s + 2.5 * m["tau"]:
        times.append(round(t, 2))
        t += m["every"] * rng.uniform(0.3, 1.7)
    times = np.array(times)
    off = times[times < up_s][-1]
    a = m["ambient"] + m["rise"] * m["drive"]

    def warm(t):
        return a + (m["ambient"] - a) * np.exp(-np.maximum(t - m["dead"], 0) / m["tau"])

    top = warm(off + m["dead"])
    temps = np.where(times <= off + m["dead"], warm(times),
                     m["ambient"] + (top - m["ambient"]) * np.exp(-(times - off - m["dead"]) / m["tau"]))
    temps = temps + np.array([rng.gauss(0, m["noise"]) for _ in times])
    if m["step"]:
        temps = np.round(temps / m["step"]) * m["step"]
    drives = np.where(times < off, m["drive"], 0.0)
    return times, np.round(temps, 3), drives


def stretches(times, temps, drives):
    """As the program finds them: the heat-up, and the cool-down less the first twentieth."""
    first_off = int(np.argmax(drives == 0))
    up = (times[:first_off], temps[:first_off])
    down_t, down_c = times[first_off:], temps[first_off:]
    high, low = down_c.max(), down_c.min()
    i = int(np.argmax(down_c))
    while down_c[i] > high - (high - low) / 20:
        i += 1
    return up, (down_t[i:], down_c[i:])


def fitted(m, up, down, ours):
    def residuals(p):
        rise, tau, dead, start, top = p
        t = up[0] - up[0][0]
        amb = m["ambient"]
        driven = 1 - np.exp(-np.maximum(t - dead, 0) / tau)
        a = amb + (start - amb) * np.exp(-t / tau) + rise * m["drive"] * driven
        b = amb + (top - amb) * np.exp(-(down[0] - down[0][0]) / tau)
        return np.concatenate([a - up[1], b - down[1]])

    best = None
    # The sum of squares has kinks in the dead time, where SciPy stops: several starts, the best of
    # them. One is our answer, which it leaves if anything near is better.
    for rise, tau, dead in [(m["rise"], m["tau"], max(0.1, m["dead"] + off))
                            for off in (-0.6, -0.3, 0, 0.3, 0.6)] + [ours]:
        start = [rise, tau, dead, m["ambient"], down[1][0]]
        fit = least_squares(residuals, start, x_scale=np.maximum(np.abs(start), 1), xtol=1e-14, ftol=1e-14,
                            gtol=1e-14, bounds=([1, 1, 0, -50, 0], [1e5, 1e5, 1e3, 300, 1e4]))
        if best is None or fit.cost < best.cost:
            best = fit
    n = len(up[0]) + len(down[0])
    covariance = np.linalg.inv(best.jac.T @ best.jac) * 2 * best.cost / (n - 5)
    return best.x, np.sqrt(np.diag(covariance)), 2 * best.cost, n


def main():
    program = pathlib.Path(sys.argv[1]).resolve()
    records = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    rng = random.Random(1948)
    compared = refused = 0
    worst = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for i in range(2 * records):
            if compared == records:
                break
            m = machine(rng)
            times, temps, drives = made(rng, m)
            rows = "".join(f"{t},{c},{u}\n" for t, c, u in zip(times, temps, drives))
            (folder / "a.csv").write_text("time_s,temp_c,drive\n" + rows)
            (folder / "rules.toml").write_text(RULES.format(**m))
            run = subprocess.run([program, "calibrate", "-q", "--rules", "rules.toml", "--json", "-", "a.csv"],
                                 cwd=folder, capture_output=True, text=True)
            up, down = stretches(times, temps, drives)
            if run.returncode != 0:
                assert min(np.ptp(up[1]), np.ptp(down[1])) < 21, (i, m, run.stderr)
                refused += 1
                continue
            heater = json.loads(run.stdout)["heaters"][0]
            if heater["cool_downs"] != 1 or np.ptp(up[1]) < 20:
                refused += 1
                continue
            ours = [heater["full_drive_c"] - m["ambient"], heater["time_constant_s"], heater["dead_time_s"]]
            x, sd, rss, n = fitted(m, up, down, ours)
            assert heater["samples"] == len(up[0]) + int((drives == 0).sum()), (i, heater, n)
            own_sd = [heater["full_drive_c_sd"], heater["time_constant_s_sd"], heater["dead_time_s_sd"]]
            for k, what in enumerate(("full drive", "time constant", "dead time")):
                off = abs(ours[k] - x[k]) / sd[k]
                worst = max(worst, off)
                assert off < 0.1, f"record {i}, {what}: {ours[k]}, SciPy {x[k]} +- {sd[k]}\n{m}"
                if own_sd[k] is not None:
                    # SciPy's derivatives are differences, which may reach across a kink.
                    near = 0.15 if what == "dead time" else 0.05
                    assert abs(own_sd[k] / sd[k] - 1) < near, f"record {i}, {what}: sd {own_sd[k]}, {sd[k]}"
            assert heater["rms_c"] <= math.sqrt(rss / n) * 1.00001, (i, heater["rms_c"], math.sqrt(rss / n))
            compared += 1
    print(f"{compared} records, all within {worst:.4f} standard errors; {refused} too short to tell")
    return 0 if compared == records else 1


if __name__ == "__main__":
    sys.exit(main())
