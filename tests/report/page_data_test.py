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

hold("all", all(seen.values()), f"something was seen: {seen}")
for failure in failures[:40]:
    print(failure)
print(", ".join(f"{n} {what}" for what, n in seen.items()) + f"; {len(failures)} failures")
sys.exit(1 if failures else 0)
