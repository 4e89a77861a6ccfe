#!/usr/bin/env python3
"""Tests of `forewarm review` on records of a simulated machine. Usage: review_test.py FOREWARM SIMULATED_MACHINE
SOURCE-FOLDER"""
import argparse
import csv
import json
import pathlib
import re
import subprocess
import sys
import tempfile
import tomllib
import types
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "oracle"))
sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent.parent / "cli"))
import chart_pages
import review_experiment
import spools

FOREWARM, PLAYER, SOURCE = (pathlib.Path(a).resolve() for a in sys.argv[1:4])
DEMO, JOB = SOURCE / "config/demo.toml", SOURCE / "fixtures/trail_map.gcode"
LATE_S = 1  # a use that waited longer than warm ones do is late


def options(**more):
    values = {"forewarm": FOREWARM, "player": PLAYER, "job": JOB, "rules": str(DEMO), "with_keys": False, "workers": 2,
              "time_constant": 1.0, "no_stops": False, "set": [], **review_experiment.OFF, **more}
    return argparse.Namespace(**values)


def echoed_s(log):
    """From the first echo of a print to its last."""
    times = [float(m[1]) for m in re.finditer(r"(?m)^\[([\d.]+)\][^\n]*forewarm \d+ [a-z]+", log.read_text())]
    return times[-1] - times[0]


def taken_g(job, rules_text, lines=None):
    """What the rewritten job takes from the spool of each tool, by a plain sum: of all lines, or of the first `lines`."""
    rules = tomllib.loads(rules_text)
    heads = rules["toolhead"]
    simple = types.SimpleNamespace(heads=heads, filament=rules["filament"],
                                   head_of={t: i for i, h in enumerate(heads) for t in h["tools"]})
    total = spools.Sum(simple)
    for number, line in enumerate(job.read_text().splitlines()[:lines]):
        total.read(line, number)
    out = {}
    for tool, mm in total.most.items():
        f = next((f for f in rules["filament"] if f["tool"] == tool), {})
        f = {"density_g_cm3": 1.24, "diameter_mm": 1.75} | rules.get("material", {}).get(f.get("material"), {}) | f
        out[tool] = mm * spools.g_per_mm(f)
    return out


class Reviewed(unittest.TestCase):
    """Two prints on a machine that is 15 % off."""
    @classmethod
    def setUpClass(cls):
        cls.kept = tempfile.TemporaryDirectory(prefix="review-test-")
        cls.folder = pathlib.Path(cls.kept.name)
        cls.loop = review_experiment.Loop(options(), cls.folder)
        cls.rules = cls.folder / "rules.toml"
        cls.rules.write_text(cls.loop.text)
        cls.job, cls.logs, cls.first = cls.loop.prints("first", cls.rules, range(2))
        cls.truths = [json.loads((cls.folder / "first" / f"truth-{seed}.json").read_text()) for seed in range(2)]
        ran = cls.review("--json", "-", cls.job, *cls.logs)
        assert ran.returncode == 0, ran.stderr
        cls.report = json.loads(ran.stdout)

    @classmethod
    def tearDownClass(cls):
        cls.kept.cleanup()

    @classmethod
    def review(cls, *arguments, rules=None):
        command = [FOREWARM, "review", "-q", "--rules", rules or cls.rules, *arguments]
        return subprocess.run([str(c) for c in command], capture_output=True, text=True)

    def true_s(self, cause):
        return sum(truth["time_by_cause_s"].get(cause, 0) for truth in self.truths)

    def test_time_went_where_it_did(self):
        causes = {cause: times["actual_s"] for cause, times in self.report["time"]["by_cause"].items()}
        self.assertAlmostEqual(causes["stops"], self.true_s("stops"), delta=1)
        self.assertAlmostEqual(causes["exchange"], self.true_s("exchange"), delta=0.01 * self.true_s("exchange"))
        # The start code is not reviewed: three toolheads are picked in it, and heated.
        self.assertAlmostEqual(causes["park_pick"], self.true_s("park_pick"), delta=0.05 * self.true_s("park_pick"))
        waited = sum(t["wait_by_cause_s"]["gap"] + t["wait_by_cause_s"]["exchange"] for t in self.truths)
        self.assertAlmostEqual(causes["waiting"], waited, delta=0.2 * waited)
        # Nothing is left over, nor counted twice, waits before exchanges included.
        self.assertAlmostEqual(sum(causes.values()), sum(map(echoed_s, self.logs)), delta=0.02)
        self.assertAlmostEqual(self.report["time"]["actual_s"], sum(map(echoed_s, self.logs)), delta=0.02)

    def test_each_change_that_waited_says_what_it_waited(self):
        waited = sum(c["wait_s"] or 0 for c in self.report["change_list"])
        self.assertAlmostEqual(waited, self.report["time"]["by_cause"]["waiting"]["actual_s"], delta=0.1)
        # Exchanges that come after a long stretch are waited for in it.
        long = [c for before, c in zip(self.report["change_list"], self.report["change_list"][1:])
                if c["kind"] in ("filament", "both") and c["planned_at_s"] - before["planned_at_s"] > 300]
        self.assertGreater(len(long), 2)
        for change in long:
            self.assertIsNotNone(change["wait_s"])

    def test_step_sequences_are_told_where_nothing_was_waited_for(self):
        rows = [s for s in self.report["stats"] if s["kind"] == "sequence"]
        self.assertIn("birch", [s["toolhead"] for s in rows])
        for s in rows:
            # They are moves, and moves take 1.07 of what is planned; the spread is that of the moves around them.
            self.assertAlmostEqual(s["mean_s"], 1.07 * s["rule_s"], delta=4 * s["sd_s"] / s["count"] ** 0.5 + 0.02 * s["rule_s"])

    def test_stops_are_those_that_there_were(self):
        stops = [stop for truth in self.truths for stop in truth["stops"]]
        self.assertEqual([s["after"] for s in self.report["stops"]],
                         ["park_pick" if s["after"] == "pick" else s["after"] for s in stops])
        self.assertEqual([round(s["duration_s"]) for s in self.report["stops"]], [round(s["took_s"]) for s in stops])

    def test_json_has_what_it_promises(self):
        r = self.report
        self.assertEqual(r["schema_version"], 1)
        self.assertEqual(list(r["record"]), ["path", "lines", "from_s", "to_s", "echoes", "missing"])
        self.assertEqual(list(r["time"]), ["planned_s", "actual_s", "by_cause"])
        self.assertEqual(list(r["on_time"]), ["promised", "share", "late", "uses", "low", "high"])
        for key in ("index", "line", "from_tool", "to_tool", "kind", "planned_at_s", "actual_at_s", "planned_s", "actual_s",
                    "wait_s", "needed_c", "at_need_c", "stop_s"):
            self.assertIn(key, r["change_list"][0])
        self.assertEqual(list(r["stats"][0]), ["kind", "toolhead", "count", "median_s", "mean_s", "sd_s", "rule_s"])
        self.assertEqual(list(r["suggest"][0])[:6], ["key", "now", "better", "sd", "observations", "why"])
        self.assertEqual([h["toolhead"] for h in r["heaters"]], ["ash", "birch", "cedar"])
        self.assertEqual(r["record"]["missing"], 0)

    def page(self, *records, job=None):
        path = self.folder / "page.html"
        ran = self.review("--html", path, "--json", self.folder / "page.json", job or self.job, *records)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        return chart_pages.Page(path.read_text()), json.loads((self.folder / "page.json").read_text())

    def near(self, text, value):
        if value is None:
            self.assertEqual(text, "")
            return
        said, error = chart_pages.amount(text)
        self.assertLessEqual(abs(said - value), error + 0.001, f"{text} is not {value}")

    def test_the_page_has_the_figures_of_the_json(self):
        page, report = self.page(*self.logs)
        self.assertEqual(page.headings()[:4], ["What the record lacks", "Where the time went", "Print 1", "Print 2"])
        self.assertIn("Nothing that is shown here.", page.root.text())
        [chart] = page.charts()["Time, planned and actual"]
        bars = chart.bars()
        causes = [c for c in report["time"]["by_cause"].values() if max(c.values()) >= 0.05]
        self.assertEqual(len(bars), 2 * len(causes))
        for cause, planned, actual in zip(causes, bars[::2], bars[1::2]):
            self.near(planned[1], cause["planned_s"])
            self.near(actual[1], cause["actual_s"])
        heads, rows = next(t for t in page.tables() if "Planned at" in t[0])
        self.assertEqual(len(rows), 200)
        for row, change in zip(rows, report["change_list"]):
            cell = dict(zip(heads, row))
            self.assertEqual(cell["Print"], str(change["print"] + 1))
            self.assertEqual(cell["Line"], str(change["line"]))
            self.assertEqual(cell["Tool"], f"T{change['to_tool']}")
            for head, key in (("Planned", "planned_s"), ("Actual", "actual_s"), ("Waited", "wait_s"),
                              ("Needed at", "needed_c"), ("Had", "at_need_c")):
                self.near(cell[head], change[key])
            for head, key in (("Planned at", "planned_at_s"), ("Actual at", "actual_at_s")):
                h, m, s = map(int, cell[head].split(":"))
                self.assertLessEqual(abs(3600 * h + 60 * m + s - change[key]), 1)
        late = [r for t in page.root.all("table") for r in t.all("tr") if r.has("late")]
        changes = list(csv.DictReader(self.review("--csv", "-", self.job, *self.logs).stdout.splitlines()))
        self.assertEqual(len(late), sum(float(c["late_s"] or 0) > LATE_S for c in changes[:200]))
        self.assertGreater(len(late), 0)
        figures = [t for t in page.tables() if t[0] == ["Time", "Measured", "Planned", "Difference"]]
        self.assertEqual(len(figures), 6)
        whole = [[chart_pages.amount(cell)[0] for cell in row[1:]] for _, rows in figures for row in rows if all(row)]
        self.assertGreater(len(whole), 50)
        self.assertGreater(max(abs(difference) for _, _, difference in whole), 1)
        for measured, planned, difference in whole:
            self.assertAlmostEqual(measured - planned, difference, delta=0.11)
        for stat, row in zip(report["stats"], next(t for t in page.tables() if "Median" in t[0])[1]):
            self.assertEqual([row[1], row[2]], [stat["toolhead"], str(stat["count"])])
            self.near(row[3], stat["median_s"])

    def test_the_page_draws_what_was_measured_over_what_was_planned(self):
        page, report = self.page(*self.logs)
        changes = [c for c in report["change_list"] if c["print"] == 0]
        for caption, key in (("Changes: later than planned", None), ("Changes: what they took", "actual_s"),
                             ("Waits for changes", "wait_s")):
            chart = page.charts()[caption][0]
            unit = chart.texts("axis")[0].partition(", ")[2]
            per = chart_pages.PER.get(unit, 1)
            x_error, y_error = chart.scale("x")[1] * 3600 + 1, chart.scale("y")[1] * per + 0.01
            wanted = [(c["planned_at_s"], c["actual_at_s"] - c["planned_at_s"] if key is None else
                       c[key] - (c["stop_s"] if key == "actual_s" else 0)) for c in changes
                      if c["actual_at_s" if key is None else key] is not None]
            points = chart.points("dots")
            self.assertGreater(len(points), 50)
            # Each that is drawn is one, and the highest and the lowest are there.
            for x, y in points:
                self.assertTrue(any(abs(x * 3600 - a) <= x_error and abs(y * per - b) <= y_error for a, b in wanted))
            self.assertAlmostEqual(max(y for _, y in points) * per, max(b for _, b in wanted), delta=y_error)
            self.assertAlmostEqual(min(y for _, y in points) * per, min(b for _, b in wanted), delta=y_error)
        readings = [(float(m[1]), float(m[2])) for m in
                    re.finditer(r"(?m)^\[([\d.]+)\][^\n]*\bT0:\s*([\d.]+)", self.logs[0].read_text())]
        self.assertGreater(len(readings), 1000)
        chart = page.charts()["Temperature of ash"][0]
        measured, planned = chart.points("line", 0), chart.points("line", 1)
        error = chart.scale("y")[1] + 0.1
        self.assertAlmostEqual(max(y for _, y in measured), max(t for _, t in readings), delta=error)
        self.assertGreater(len(planned), 50)
        self.assertLess(max(y for _, y in planned), 260)
        self.assertLess((self.folder / "page.html").stat().st_size, 700_000)

    def measured(self, log, number=0):
        """The lines that are drawn of what was measured of ash in a print: [[seconds]]."""
        chart = self.page(log)[0].charts()["Temperature of ash"][number]
        x_of, _ = chart.scale("x")
        path = next(p for p in chart.svg.all("path") if p.has("line") and p.has("tone-0"))
        return [[3600 * x_of(float(x)) for x in re.findall(r"(?:^|L)(-?[\d.]+) ", line)]
                for line in path.attributes["d"].split("M")[1:]]

    def test_a_line_ends_where_nothing_was_measured(self):
        lines = self.logs[0].read_text().splitlines(keepends=True)
        seconds = [float(re.match(r"\[([\d.]+)\]", line)[1]) for line in lines]
        self.assertEqual(len(self.measured(self.logs[0])), 1)
        silent = self.folder / "silent.log"
        silent.write_text("".join(line for line, s in zip(lines, seconds)
                                  if not (9000 < s - seconds[0] < 12000 and " T0:" in line)))
        before, after = self.measured(silent)
        self.assertAlmostEqual(before[-1], 9000, delta=300)
        self.assertAlmostEqual(after[0] - before[-1], 3000, delta=100)

    def test_a_print_has_the_temperatures_of_its_own_part_of_a_record(self):
        lines = self.logs[0].read_text().splitlines(keepends=True)
        seconds = [float(re.match(r"\[([\d.]+)\]", line)[1]) for line in lines]
        end = next(i for i, s in enumerate(seconds) if s - seconds[0] > 7200)
        # The clock begins anew with the second print.
        both = self.folder / "both.log"
        both.write_text("".join(lines[:end]) + self.logs[1].read_text())
        self.assertLess(max(max(line) for line in self.measured(both)), 7400)
        self.assertGreater(max(max(line) for line in self.measured(both, 1)), 20000)

    def test_the_page_says_what_a_record_lacks(self):
        text = self.logs[0].read_text()
        lines = text.splitlines(keepends=True)
        no_birch = self.folder / "no-birch.txt"
        no_birch.write_text(re.sub(r"\bT1:\s*[\d.]+\s*/\s*[\d.]+", "", text))
        page, _ = self.page(no_birch)
        self.assertIn("Temperatures of birch.", [i.text() for i in page.root.all("li")])
        self.assertIn("The record has no temperature of birch.", page.root.text())
        half = self.folder / "half.txt"
        half.write_text("".join(lines[:len(lines) // 2]))
        page, report = self.page(half)
        self.assertFalse(report["ends"][0]["whole"])
        self.assertIn("The end of print 1.", [i.text() for i in page.root.all("li")])
        half.write_text("".join(lines[:len(lines) // 2]) + lines[0][:8])
        page, _ = self.page(half)
        self.assertIn("The last line of ", page.root.text())
        self.assertIn("half.txt, which is cut off.", page.root.text())
        number = re.findall(r"forewarm (\d+) there", text)[200]
        hole = self.folder / "hole.txt"
        hole.write_text("".join(line for line in lines if f"forewarm {number} there" not in line))
        page, report = self.page(hole)
        self.assertGreater(report["record"]["missing"], 0)
        self.assertTrue(any("echoes: what they begin or end is in no sum" in i.text() for i in page.root.all("li")))

    def test_a_page_replaces_no_file_that_is_not_one(self):
        mine = self.folder / "mine.html"
        mine.write_text("mine")
        ran = self.review("--html", mine, self.job, self.logs[0])
        self.assertEqual((ran.returncode, ran.stdout), (2, ""))
        self.assertIn("not an earlier HTML report", ran.stderr)
        self.assertEqual(mine.read_text(), "mine")
        ran = self.review("--html", self.logs[0], self.job, self.logs[0])
        self.assertIn("would overwrite a record", ran.stderr)
        ran = self.review("--html", "-", self.job, self.logs[0])
        self.assertEqual(ran.returncode, 0)
        self.assertTrue(ran.stdout.startswith("<!DOCTYPE html>") and ran.stdout.endswith("</html>\n"))

    def test_suggestions_are_near_the_truth(self):
        better = {s["key"]: s for s in self.report["suggest"]}
        self.assertAlmostEqual(better["toolhead.birch.exchange_s"]["better"], 1.2 * 33, delta=0.6)
        self.assertAlmostEqual(better["motion.time_scale"]["better"], 1.07, delta=0.03)
        self.assertTrue(better["toolhead.birch.exchange_s"]["certain"])
        self.assertFalse(better["toolhead.birch.park_s"]["certain"])
        self.assertFalse(better["feeder.fault_odds"]["certain"] and not self.report["stops"])
        self.assertLess(self.report["bought"]["new_wait_s"], self.report["bought"]["wait_s"])

    def test_csv_has_one_row_a_change(self):
        ran = self.review("--csv", "-", self.job, *self.logs)
        rows = list(csv.DictReader(ran.stdout.splitlines()))
        self.assertEqual(len(rows), len(self.report["change_list"]))
        self.assertEqual({row["print"] for row in rows}, {"0", "1"})

    def test_text_names_what_matters(self):
        ran = self.review(self.job, *self.logs)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        for part in ("2 prints by echoes", "time went to", "promised were 99.0 %", "the worst:", "what to change"):
            self.assertIn(part, ran.stdout)

    def test_write_keeps_the_old_rules_and_the_print_can_be_reviewed_again(self):
        rules = self.folder / "written.toml"
        rules.write_text(self.loop.text)
        ran = self.review("--write", rules, self.job, *self.logs, rules=rules)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        kept = list(self.folder.glob("written.toml.*"))
        self.assertEqual([k.read_text() for k in kept], [self.loop.text])
        self.assertRegex(kept[0].name, r"^written\.toml\.[0-9a-f]{16}$")
        self.assertRegex(rules.read_text(), r"(?m)^exchange_s = 39\.")
        # What is in force now is what it shows: nothing is left to be written of exchanges.
        ran = self.review("--json", "-", self.job, *self.logs, rules=rules)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        again = {s["key"]: s for s in json.loads(ran.stdout)["suggest"]}["toolhead.birch.exchange_s"]
        self.assertFalse(again["certain"])

    def test_other_rules_and_jobs_without_a_plan_are_refused(self):
        other = self.folder / "other.toml"
        other.write_text(self.loop.text + "# another\n")
        ran = self.review(self.job, *self.logs, rules=other)
        self.assertEqual(ran.returncode, 3)
        self.assertIn("the job was rewritten by rules of the hash", ran.stderr)
        self.assertIn("or keep it as", ran.stderr)
        ran = self.review(JOB, *self.logs)
        self.assertEqual(ran.returncode, 3)
        self.assertIn("the job bears no plan: it is not a rewritten one", ran.stderr)
        nothing = self.folder / "nothing.log"
        nothing.write_text("[1.0] ok T:20.0 /0.0 T0:20.0 /0.0\n")
        ran = self.review(self.job, nothing)
        self.assertEqual(ran.returncode, 3)
        self.assertIn("the record has none of the job's changes", ran.stderr)

    def test_a_measuring_job_can_be_reviewed(self):
        job, log = self.folder / "measuring.gcode", self.folder / "measuring.log"
        made = [FOREWARM, "calibrate", "-q", "--rules", self.rules, "--make-job", job, "--exchanges"]
        ran = subprocess.run([str(c) for c in made], capture_output=True, text=True)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        review_experiment.experiment.run(PLAYER, "--machine", self.folder / "machine.json", "--seed", 1, "--record", log,
                                         "--truth", self.folder / "measuring.json", job)
        ran = self.review("--json", "-", job, log)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report = json.loads(ran.stdout)
        self.assertEqual((report["by"], report["record"]["missing"]), ("echoes", 0))
        # It moves no filament: nothing was promised, and dwells say nothing of how fast moves are.
        self.assertEqual(report["on_time"]["uses"], 0)
        better = {s["key"]: s for s in report["suggest"]}
        self.assertNotIn("motion.time_scale", better)
        self.assertAlmostEqual(better["toolhead.birch.exchange_s"]["better"], 1.2 * 33, delta=4)
        stats = {(s["kind"], s["toolhead"]): s["count"] for s in report["stats"]}
        self.assertGreaterEqual(min(stats.values()), 5)

    def test_a_print_that_was_broken_off_and_begun_anew(self):
        lines = self.logs[0].read_text().splitlines(True)
        leaves = [i for i, line in enumerate(lines) if re.search(r"forewarm \d+ leave", line) and "M118" not in line]
        log = self.folder / "anew.log"
        log.write_text("".join(lines[:leaves[20]]) + self.logs[1].read_text())
        ran = self.review("--json", "-", self.job, log)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report = json.loads(ran.stdout)
        whole = len(self.report["change_list"]) // 2
        self.assertEqual([sum(c["print"] == p for c in report["change_list"]) for p in range(report["prints"])], [20, whole])
        self.assertEqual(report["record"]["missing"], 0)

    def test_a_job_whose_filaments_have_moved(self):
        folder = self.folder / "moved"
        folder.mkdir()
        job = folder / "job.gcode"
        ran = subprocess.run([str(c) for c in (FOREWARM, "rewrite", "-q", "--rules", self.rules, "--map", "0=3,3=0", "-o", job, JOB)],
                             capture_output=True, text=True)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        log, truth = folder / "host.log", folder / "truth.json"
        subprocess.run([str(c) for c in (PLAYER, "--machine", self.loop.path, "--seed", 5, "--record", log, "--truth", truth, job)],
                       check=True, capture_output=True)
        ran = self.review("--json", "-", job, log)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report, true = json.loads(ran.stdout), json.loads(truth.read_text())
        self.assertEqual(report["record"]["missing"], 0)
        # T0 has an exchange now, and T3 has none.
        exchanged = {c["to_tool"] for c in report["change_list"] if c["kind"] == "filament"}
        selected = [int(m[1]) for m in re.finditer(r"(?m)^T(\d+)", job.read_text())]
        selected = [tool for before, tool in zip([None, *selected], selected) if tool != before]
        self.assertEqual([c["to_tool"] for c in report["change_list"]], selected[-len(report["change_list"]):])
        causes = {cause: times["actual_s"] for cause, times in report["time"]["by_cause"].items()}
        self.assertAlmostEqual(sum(causes.values()), echoed_s(log), delta=0.02)
        self.assertAlmostEqual(causes["exchange"], true["time_by_cause_s"]["exchange"], delta=0.01 * causes["exchange"])
        self.assertAlmostEqual(causes["stops"], true["time_by_cause_s"].get("stops", 0), delta=1)
        self.assertTrue(exchanged)
        # Another job would be needed to tell what better values buy.
        self.assertIsNone(report["bought"])

    def test_without_echoes_selects_tell_when_changes_came(self):
        silent = self.folder / "silent.log"
        silent.write_text("".join(line for line in self.logs[0].read_text().splitlines(True) if "forewarm" not in line))
        ran = self.review("--json", "-", self.job, silent)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report = json.loads(ran.stdout)
        self.assertEqual(report["by"], "selects")
        known = [c for c in report["change_list"] if c["actual_at_s"] is not None]
        self.assertEqual(len(known), len(report["change_list"]))
        self.assertEqual(report["stats"], [])
        self.assertIsNone(report["time"]["actual_s"])
        self.assertIsNone(report["time"]["by_cause"]["waiting"]["planned_s"])
        self.assertIn("Without echoes, nothing tells where the time went.", self.review(self.job, silent).stdout)

    def with_spools(self, name, grams):
        """A rule file with so much on every spool, beside the one that the job was made with."""
        rules = self.folder / name
        text, count = re.subn(r"(?m)^(\[\[filament\]\]\n)", rf"\1spool_g = {grams}   # weighed\n", self.loop.text)
        self.assertEqual(count, 7)
        rules.write_text(text)
        return rules, text

    def left(self, rules):
        return {f["tool"]: f["spool_g"] for f in tomllib.loads(rules.read_text())["filament"]}

    def test_what_prints_took_is_subtracted_once(self):
        rules, text = self.with_spools("spools.toml", 500)
        ran = self.review("--json", "-", "--write", rules, self.job, *self.logs)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report = json.loads(ran.stdout)
        self.assertEqual([end["whole"] for end in report["ends"]], [True, True])
        took = taken_g(self.job, self.loop.text)
        self.assertGreater(min(took.values()), 0.5)
        for row in report["spools"]:
            self.assertAlmostEqual(row["took_g"], 2 * took[row["tool"]], delta=0.002)
            self.assertAlmostEqual(row["left_g"], 500 - 2 * took[row["tool"]], delta=0.002)
        self.assertEqual(len(report["spools"]), 7)
        for tool, left in self.left(rules).items():
            self.assertAlmostEqual(left, 500 - 2 * took[tool], delta=0.002)
        # Other lines of filaments are as they were, remarks included.
        same = [line for line in text.splitlines() if line.startswith(("[[filament]]", "name =", "# "))]
        self.assertTrue(set(same) <= set(rules.read_text().splitlines()))
        self.assertEqual(rules.read_text().count("   # weighed\n"), 7)
        # The same records again: nothing more is taken. The first with another: that one's.
        before = self.left(rules)
        ran = self.review("--write", rules, self.job, *self.logs)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        self.assertIn("print 1 has been subtracted before", ran.stdout)
        self.assertEqual(self.left(rules), before)
        self.assertEqual(len((self.folder / "spools.toml.prints").read_text().splitlines()), 2)

    def test_a_print_that_stopped_took_what_is_known_of_it(self):
        rules, _ = self.with_spools("stopped.toml", 3)
        lines = self.logs[0].read_text().splitlines(True)
        leaves = [i for i, line in enumerate(lines) if re.search(r"forewarm \d+ leave", line) and "M118" not in line]
        log = self.folder / "stopped.log"
        log.write_text("".join(lines[:leaves[20] + 1]))
        ran = self.review("--json", "-", "--write", rules, self.job, log)
        self.assertEqual(ran.returncode, 0, ran.stderr)
        report = json.loads(ran.stdout)
        (end,) = report["ends"]
        self.assertFalse(end["whole"])
        self.assertEqual(end["after_line"], report["change_list"][20]["line"])
        took = taken_g(self.job, self.loop.text, end["after_line"] - 1)
        for row in report["spools"]:
            self.assertAlmostEqual(row["took_g"], took[row["tool"]], delta=0.001)
        self.assertEqual({row["tool"] for row in report["spools"]}, set(took))
        left = self.left(rules)
        self.assertIn(0, [left[tool] for tool in took])  # never below
        for tool, grams in left.items():
            self.assertAlmostEqual(grams, max(0, 3 - took.get(tool, 0)), delta=0.001)
        ran = self.review(self.job, log, rules=self.rules)
        self.assertNotIn("on spool", ran.stdout)  # nothing is known of spools there

    def test_values_get_into_no_other_toolhead(self):
        rules = self.folder / "order.toml"
        heads = re.split(r"(?m)^(?=\[\[toolhead\]\])", self.loop.text)
        last = re.split(r"(?m)^(?=\[\[(?!toolhead))", heads[-1], maxsplit=1)
        rules.write_text("".join([heads[0], heads[2], heads[1], *heads[3:-1], *last]))
        ran = self.review("--write", rules, self.job, *self.logs)
        self.assertEqual(ran.returncode, 3)
        self.assertIn("its toolheads, their order or their tools are not those of", ran.stderr)

    def test_a_record_counts_once(self):
        copy = self.folder / "copy.log"
        copy.write_text(self.logs[0].read_text())
        ran = self.review(self.job, self.logs[0], self.logs[1], copy)
        self.assertEqual(ran.returncode, 2)
        self.assertIn("this record says the same as " + str(self.logs[0]), ran.stderr)

    def test_what_is_kept_replaces_no_other_file(self):
        rules = self.folder / "mine.toml"
        rules.write_text(self.loop.text)
        kept = pathlib.Path(str(rules) + "." + re.search(r"rules=([0-9a-f]{16})", self.job.read_text())[1])
        kept.write_text("something else\n")
        ran = self.review("--write", rules, self.job, *self.logs, rules=rules)
        self.assertEqual(ran.returncode, 4)
        self.assertIn("the old rules are to be kept here, and this is something else", ran.stderr)
        self.assertEqual((rules.read_text(), kept.read_text()), (self.loop.text, "something else\n"))


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
