#!/usr/bin/env python3
"""`forewarm assign` against a mixed-integer programme, solved by GLPK's glpsol.

The programme is written from what the machine does, use by use, and knows nothing of sets of
filaments: x[f,t] says that filament f is at tool t; y[f,h], that it is on toolhead h. A use of f
after one of g costs parking and picking if they are on two toolheads; and an exchange from g where
g is on f's toolhead and no filament used since g is, nor f itself.

Usage: glpk_test.py FOREWARM [JOBS]. Exit 77, which ctest takes for skipped, without glpsol."""
import json
import pathlib
import random
import shutil
import subprocess
import sys
import tempfile

SKIPPED = 77
HEATER = "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }"


def problem(rng):
    """A machine, a job, and what is minimised."""
    heads, tool = [], 0
    for h in range(rng.randint(1, 3)):
        tools = list(range(tool, tool + rng.choice([1, 1, 2, 3])))
        tool += len(tools)
        heads.append({"name": f"head {h}", "tools": tools, "park_s": rng.randint(0, 20) / 2,
                      "pick_s": rng.randint(0, 20) / 2, "exchange_s": rng.randint(0, 80) / 2,
                      "purge": rng.randint(1, 200)})
    filaments = sorted(rng.sample(range(tool), rng.randint(1, tool)))
    rules = {}
    for f in filaments:
        kind = rng.randint(0, 3)
        if kind == 0:
            rules[f] = ("only", rng.sample(range(tool), rng.randint(1, min(2, tool))))
        elif kind == 1:
            rules[f] = ("never", rng.sample(range(tool), rng.randint(0, tool - 1)))
        elif kind == 2 and len(filaments) > 2:
            rules[f] = ("fixed", [f])
    uses = [rng.choice(filaments + [-1]) if rng.random() < .1 else rng.choice(filaments)
            for _ in range(rng.randint(1, 24))]
    by = rng.choice(["time", "purge", "matrix"])
    matrix = {(a, b): rng.randint(0, 100) / 4 for a in filaments for b in filaments}
    return {"heads": heads, "tools": range(tool), "filaments": filaments, "rules": rules, "uses": uses,
            "by": by, "matrix": matrix}


def may(p, f, t):
    kind, tools = p["rules"].get(f, ("never", []))
    return t not in tools if kind == "never" else t in tools


def programme(p):
    """In CPLEX LP form."""
    heads, filaments, tools = p["heads"], p["filaments"], p["tools"]
    cost, rows = [], []
    y = {(f, h): " + ".join(f"x_{f}_{t}" for t in head["tools"])
         for f in filaments for h, head in enumerate(heads)}

    def less(terms):
        return "".join(" - " + t.strip() for t in terms.split(" + "))

    def charge(price, must, unless, row):
        """A variable that is 1 where all of `must` hold and none of `unless`."""
        if price == 0:
            return
        cost.append(f"{price} {row}")
        rows.append(f"{row}" + "".join(less(y[k]) for k in must)
                    + "".join(f" + {y[k]}" for k in unless) + f" >= {1 - len(must)}")

    by_time = p["by"] == "time"
    n, mounted, since = 0, None, {}  # since[f]: used after f, latest first
    for f in p["uses"]:
        n += 1
        if f == -1:
            if mounted is not None and by_time:
                for h, head in enumerate(heads):
                    charge(head["park_s"], [(mounted, h)], [], f"put_{n}_{h}")
            mounted = None
            continue
        if f == mounted:
            continue
        for h, head in enumerate(heads):
            if by_time and mounted is None:
                charge(head["pick_s"], [(f, h)], [], f"take_{n}_{h}")
            elif by_time:
                for g, other in enumerate(heads):
                    if g != h:
                        charge(other["park_s"] + head["pick_s"], [(mounted, g), (f, h)], [],
                               f"swap_{n}_{g}_{h}")
            between = since[f] if f in since else since.get(None, [])
            for i, a in enumerate(between):
                price = {"time": head["exchange_s"], "purge": head["purge"],
                         "matrix": p["matrix"][a, f]}[p["by"]]
                charge(price, [(a, h), (f, h)], [(b, h) for b in between[:i]], f"feed_{n}_{h}_{i}")
        for other in list(since) + [None]:
            if other != f:
                old = since.get(other, [])
                since[other] = [f] + [a for a in old if a != f]
        since[f] = []
        mounted = f
    for f in filaments:
        rows.append(" + ".join(f"x_{f}_{t}" for t in tools) + " = 1")
        for t in tools:
            if not may(p, f, t):
                rows.append(f"x_{f}_{t} = 0")
    for t in tools:
        rows.append(" + ".join(f"x_{f}_{t}" for f in filaments) + " <= 1")
    lines = ["Minimize", " cost: " + (" + ".join(cost) or f"0 x_{filaments[0]}_0"), "Subject To"]
    # Lines of an LP file are short; terms may stand on as many as needed.
    lines += [f" r{i}: " + row for i, row in enumerate(rows)]
    lines += ["Binary"] + [f" x_{f}_{t}" for f in filaments for t in tools] + ["End"]
    return "\n".join(line.replace(" + ", "\n + ") for line in lines) + "\n"


def solved(folder, p):
    """The least cost; None if nothing is allowed."""
    (folder / "model.lp").write_text(programme(p))
    run = subprocess.run(["glpsol", "--lp", "model.lp", "--write", "out", "--tmlim", "60"], cwd=folder,
                         capture_output=True, text=True, check=True)
    for line in (folder / "out").read_text().splitlines():
        words = line.split()
        if words[:2] == ["s", "mip"]:
            status, least = words[4], float(words[5])
            if status == "o":
                return least
            assert status in "nu", run.stdout
            return None
    raise AssertionError(run.stdout)


def answered(program, folder, p):
    rules = "version = 1\n"
    for i, head in enumerate(p["heads"]):
        rules += (f'[[toolhead]]\nname = "{head["name"]}"\ntools = {head["tools"]}\n{HEATER}\n'
                  f'park_s = {head["park_s"]}\npick_s = {head["pick_s"]}\n'
                  f'exchange_s = {head["exchange_s"]}\nexchange_purge_mm3 = {head["purge"]}\n')
    for f, (kind, tools) in p["rules"].items():
        rules += f"[[filament]]\ntool = {f}\n{kind} = {'true' if kind == 'fixed' else tools}\n"
    # All filaments are used, or the machine would have tools to spare that the programme has not.
    job = "".join(f"T{f}\n" for f in p["uses"])
    (folder / "rules.toml").write_text(rules)
    (folder / "job.gcode").write_text(job)
    command = [program, "assign", "--rules", "rules.toml", "--json", "-", "job.gcode"]
    if p["by"] == "matrix":
        names = p["filaments"]
        table = ["g," + ",".join(f"T{b}" for b in names)]
        table += [f"T{a}," + ",".join(str(p["matrix"][a, b]) for b in names) for a in names]
        (folder / "matrix.csv").write_text("\n".join(table) + "\n")
        command += ["--matrix", "matrix.csv"]
    else:
        command += ["--by", p["by"]]
    run = subprocess.run(command, cwd=folder, capture_output=True, text=True)
    if run.returncode == 2 and ("may be" in run.stderr or "fixed keeps" in run.stderr):
        return None
    assert run.returncode == 0, run.stderr
    best = json.loads(run.stdout)["best"]
    assert best["optimal"] and best["lower_bound"] == best["cost"], best
    for f, t in best["map"].items():
        assert may(p, int(f), t), best
    assert len(set(best["map"].values())) == len(best["map"]), best
    return best["cost"]


def main():
    if not shutil.which("glpsol"):
        print("skipped: there is no glpsol; scripts/setup --tests installs it")
        return SKIPPED
    program = pathlib.Path(sys.argv[1]).resolve()
    jobs = int(sys.argv[2]) if len(sys.argv) > 2 else 80
    rng = random.Random(1953)
    impossible = 0
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for i in range(jobs):
            p = problem(rng)
            used = sorted({f for f in p["uses"] if f >= 0})
            if not used:
                continue
            # A filament that is never used has no say, unless it is fixed: leave it out.
            p["filaments"] = used
            p["rules"] = {f: r for f, r in p["rules"].items() if f in used}
            least, answer = solved(folder, p), answered(program, folder, p)
            same = least is answer is None or (None not in (least, answer) and abs(least - answer) < 1e-3)
            if not same:
                print(f"job {i}: glpsol says {least}, forewarm {answer}\n{p}")
                return 1
            impossible += least is None
    print(f"{jobs} jobs, the same cost for each; {impossible} of them had no answer")
    return 0 if 0 < impossible < jobs / 2 else 1


if __name__ == "__main__":
    sys.exit(main())
