#!/usr/bin/python3
"""Pages of `forecast --html` and `rewrite --html`, read by others than the program: the data block against
config/page.schema.json by python3-jsonschema, the hashes of the policy by Python's hashlib, and what the block says against the
JSON and the CSV of the same run. Jobs are those of fixtures/ and cases made here.

Usage: page_data_test.py FOREWARM SOURCES. Exit 77, which ctest takes for skipped, without jsonschema."""
import base64
import csv
import hashlib
import html.parser
import itertools
import json
import pathlib
import re
import subprocess
import sys
import tempfile

SKIPPED = 77
try:
    import jsonschema
except ImportError:
    print("skipped: there is no jsonschema; scripts/setup --tests installs it")
    sys.exit(SKIPPED)

program, sources = sys.argv[1], pathlib.Path(sys.argv[2])
schema = json.loads((sources / "config/page.schema.json").read_text(encoding="utf-8"))
jsonschema.Draft202012Validator.check_schema(schema)
validator = jsonschema.Draft202012Validator(schema)
failures, seen = [], {"pages": 0, "stretches": 0, "gaps": 0, "changes": 0}


def hold(name, condition, words):
    if not condition:
        failures.append(f"{name}: {words}")


class Parts(html.parser.HTMLParser):
    """What a browser takes for the policy, the styles and the scripts of a page, and the addresses in it."""

    def __init__(self, text):
        super().__init__()
        self.policy, self.parts, self.addresses, self.inline, self.within = None, [], [], [], None
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "meta" and attributes.get("http-equiv") == "Content-Security-Policy":
            self.policy = attributes["content"]
        if tag in ("style", "script"):
            self.within = (tag, attributes.get("type"))
        self.addresses += [attributes[a] for a in ("src", "href", "action", "srcset") if a in attributes]
        self.inline += [a for a in attributes if a == "style" or a.startswith("on")]

    def handle_data(self, data):
        if self.within:
            self.parts.append((*self.within, data))

    def handle_endtag(self, tag):
        self.within = None


def hash_of(text):
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()


def sums(deltas):
    return list(itertools.accumulate(deltas))


def check_band(name, band, heads, end_s):
    hold(name, len(band["heads"]) == heads, "a row for each toolhead")
    for row in band["heads"]:
        begins = sums(row["from"])
        lengths = {len(row[key]) for key in ("from", "length", "kind", "ref")}
        hold(name, len(lengths) == 1 and len(row["at"]) == len(row["temp"]), "columns of one length")
        ends = [a + b for a, b in zip(begins, row["length"])]
        hold(name, all(a <= b + 1 for a, b in zip(ends, begins[1:])), "stretches do not overlap")
        hold(name, not ends or ends[-1] <= end_s * 100 + 2, "stretches end with the job")
        hold(name, sums(row["at"]) == sorted(sums(row["at"])), "the line goes on in time")
        seen["stretches"] += len(begins)
    for part in (band["stops"], band["power"]):
        hold(name, len({len(column) for column in part.values()}) == 1, "columns of one length")
    hold(name, all(w >= 0 for w in sums(band["power"]["watts"])), "no power below 0")


def check_page(name, page, figures, rows):
    text = page.read_text(encoding="utf-8")
    parts = Parts(text)
    styles = [t for tag, _, t in parts.parts if tag == "style"]
    scripts = [t for tag, kind, t in parts.parts if tag == "script" and kind is None]
    data = [t for tag, kind, t in parts.parts if tag == "script" and kind == "application/json"]
    hold(name, (len(styles), len(scripts), len(data)) == (1, 1, 1), "one style, one script, one block of data")
    hold(name, parts.policy == f"default-src 'none'; style-src '{hash_of(styles[0])}'; "
         f"script-src '{hash_of(scripts[0])}'; base-uri 'none'; form-action 'none'",
         f"the policy allows its own parts alone: {parts.policy}")
    hold(name, all(a.startswith("#") for a in parts.addresses), f"no address but within: {parts.addresses}")
    hold(name, not parts.inline, f"neither style nor event attributes: {parts.inline}")
    hold(name, len(scripts[0].encode()) < 40_000, "the script is under 40 KB")
    hold(name, "<" not in data[0], "nothing in the data can end it")
    block = json.loads(data[0])
    for error in itertools.islice(validator.iter_errors(block), 3):
        failures.append(f"{name}: {list(error.path)}: {error.message[:200]}")
    figures = json.loads(figures.read_text(encoding="utf-8"))
    policies = figures["policies"]
    hold(name, abs(block["planned"]["end_s"] - policies["lookahead"]["duration_s"]) < 1e-3, "the plan's end")
    hold(name, abs(block["sliced"]["end_s"] - policies["as_sliced"]["duration_s"]) < 1e-3, "the end as sliced")
    check_band(name, block["planned"], len(block["heads"]), block["end_s"])
    check_band(name, block["sliced"], len(block["heads"]), block["end_s"])
    heads = [h["name"] for h in block["heads"]]
    gaps = block["gaps"]
    hold(name, len({len(column) for column in gaps.values()}) == 1, "gaps: columns of one length")
    for key in ("from_s", "to_s", "treatment", "dip_c", "preheat_at_s", "wait_s"):
        hold(name, gaps[key] == [g[key] for g in figures["gaps"]], f"gaps: {key} as in the JSON")
    hold(name, [heads[h] for h in gaps["toolhead"]] == [g["toolhead"] for g in figures["gaps"]], "gaps: toolheads")
    hold(name, abs(sum(gaps["hot_idle_s"]) - policies["lookahead"]["hot_idle_s"]) < 0.01 * (1 + len(gaps["hot_idle_s"])),
         "gaps: hot idle adds up")
    layers = sums(block["layers"])
    hold(name, layers == sorted(layers) and len(layers) in (0, figures["job"]["layers"]), "a time for each layer")
    if rows is not None:
        table = list(csv.DictReader(rows.open(encoding="utf-8", newline="")))
        changes = block["changes"]
        for key, column, kind in (("at_s", "time_s", float), ("layer", "layer", int), ("line", "line", int),
                                  ("kind", "kind", str), ("exchange_s", "exchange_s", float), ("wait_s", "wait_s", float)):
            hold(name, changes[key] == [kind(r[column]) for r in table], f"changes: {key} as in the CSV")
        seen["changes"] += len(table)
    seen["pages"] += 1
    seen["gaps"] += len(gaps["from_s"])


# Two filaments in a feeder's toolhead and one in another; the tool that is there is selected once more, and then none.
SMALL_RULES = """version = 1
[machine]
heating_limit_w = 200
bed_w = 50
[[toolhead]]
name = "oak"
tools = [0, 1]
exchange_s = 30
heater = { index = 0, power_w = 40, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "elm"
tools = [2]
heater = { index = 1, power_w = 60, full_drive_c = 450, time_constant_s = 180 }
[[filament]]
tool = 0
name = "clay"
material = "PLA"
standby_c = 150
[[filament]]
tool = 1
name = "</script><b>reed"
standby_c = 170
"""


def use(tool, work_c):
    return f"T{tool}\nM109 T{tool} S{work_c}\nG1 X0 E1 F600\nG1 X400 E9\nG1 X0 E9\n"


SMALL_JOB = "M83\n" + use(0, 210) + use(2, 220) + use(1, 230) + "T1\nT-1\nG4 S900\n" + use(2, 220) + use(0, 210) + "M84\n"


def check_small(block, figures):
    """What the rules and the job above say, as the block has it."""
    is_as = lambda words, is_, should: hold("small", is_ == should, f"{words}: {is_}, not {should}")
    is_as("the limit, less the bed", block["limit_w"], 150)
    is_as("levels", [[h[key] for key in ("name", "work_low_c", "work_c", "standby_c", "standby_high_c")]
                     for h in block["heads"]], [["oak", 210, 230, 150, 170], ["elm", 220, 220, 175, 175]])
    is_as("filaments", [[f[key] for key in ("tool", "name", "material", "letter", "look")] for f in block["filaments"]],
          [[0, "clay", "PLA", "A", 0], [1, "</script><b>reed", "", "B", 1], [2, "", "", "C", 2]])
    changes, gaps = block["changes"], block["gaps"]
    is_as("kinds", changes["kind"], ["first", "toolhead", "both", "redundant", "park", "toolhead", "both"])
    is_as("toolheads", changes["toolhead"], [0, 1, 0, 0, -1, 1, 0])
    # A feeder takes out what it has, whatever was selected.
    is_as("what goes", changes["out_tool"], [-1, 0, 0, 1, 1, -1, 1])
    is_as("what comes", changes["to_tool"], [0, 2, 1, 1, -1, 2, 0])
    is_as("what gaps are for", [gaps["to_tool"][i] for i, h in enumerate(gaps["toolhead"]) if h == 0], [1, 0, -1])
    is_as("reasons", gaps["reason"], [g["reason"] for g in figures["gaps"]])
    for name, policy in (("planned", "lookahead"), ("sliced", "as_sliced")):
        band, stops, waits = block[name], block[name]["stops"], {0: 0, 1: 0}
        for head, kind, length in zip(stops["head"], stops["kind"], stops["length"]):
            waits[head] += length / 100 if kind == 0 else 0
        hold("small", abs(sum(waits.values()) - figures["policies"][policy]["wait_s"]) < 0.1, f"{name}: the waits")
        if name == "planned":
            for head, row in enumerate(figures["toolheads"]):
                hold("small", abs(waits[head] - row["wait_s"]) < 0.1, f"waits of {row['name']}: {waits[head]}")
        for head, tools in ((0, [0, 1, 0]), (1, [2, 2])):
            row = band["heads"][head]
            uses = [i for i, kind in enumerate(row["kind"]) if kind >= 4]
            is_as(f"{name}: uses", [row["kind"][i] - 4 for i in uses], tools)
            is_as(f"{name}: their changes", [changes["to_tool"][row["ref"][i]] for i in uses], tools)
            begins = sums(row["from"])
            last = begins[uses[-1]] + row["length"][uses[-1]]
            hold("small", head == 1 or abs(last - 100 * band["end_s"]) < 3, f"{name}: the last use ends with the job")
        # Each heater has its own power, and all of it goes off again.
        watts = sums(band["power"]["watts"])
        is_as(f"{name}: powers", {w for w in watts if w}, {40, 60})
        driven = sum(length for row in band["heads"] for length, kind in zip(row["length"], row["kind"]) if kind == 3)
        at = sums(band["power"]["at"])
        on = sum(b - a for a, b, w in zip(at, at[1:], watts) if w and a >= min(begins))
        hold("small", driven <= on + 3 and at[-1] <= 100 * band["end_s"], f"{name}: {driven} driven in {on}")


with tempfile.TemporaryDirectory(prefix="forewarm-page-") as folder:
    folder = pathlib.Path(folder)
    page, figures, rows = (folder / n for n in ("page.html", "figures.json", "rows.csv"))
    rules = ["--rules", sources / "config/demo.toml"]

    def run(command, *arguments):
        subprocess.run([program, command, "-q", *map(str, arguments), "--html", page, "--json", figures],
                       check=True, stdout=subprocess.DEVNULL)

    for job in sorted((sources / "fixtures").glob("*.gcode")):
        chosen = rules if job.name.startswith("trail_map") else []
        for more in ([], ["--start", "2027-03-05T18:00", "--away", "22:00-07:00"]):
            page.unlink(missing_ok=True)
            run("forecast", *chosen, *more, "--csv", rows, job)
            check_page(f"{job.name} {' '.join(more)}", page, figures, rows)
    run("rewrite", *rules, "-o", folder / "out.gcode", sources / "fixtures/trail_map.gcode")
    check_page("rewritten", page, figures, None)
    (folder / "small.toml").write_text(SMALL_RULES)
    (folder / "small.gcode").write_text(SMALL_JOB)
    run("forecast", "--rules", folder / "small.toml", "--csv", rows, folder / "small.gcode")
    check_page("small", page, figures, rows)
    [data] = re.findall(r'id="data">(.*?)</script>', page.read_text(encoding="utf-8"), re.DOTALL)
    check_small(json.loads(data), json.loads(figures.read_text(encoding="utf-8")))

hold("all", all(seen.values()), f"something was seen: {seen}")
for failure in failures[:40]:
    print(failure)
print(", ".join(f"{n} {what}" for what, n in seen.items()) + f"; {len(failures)} failures")
sys.exit(1 if failures else 0)
