#!/usr/bin/env python3
"""The pages of compare and calibrate, beside the JSON of the same command. Usage: pages_test.py FOREWARM SOURCE-FOLDER"""
import json
import math
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parent))
import chart_pages

FOREWARM, SOURCE = os.path.abspath(sys.argv[1]), pathlib.Path(sys.argv[2]).resolve()
DEMO, JOB = SOURCE / "config" / "demo.toml", SOURCE / "fixtures" / "trail_map.gcode"
FIGURES = {"Time": "duration_s", "Waiting": "wait_s", "Hot idle": "hot_idle_s", "Hot-end energy": "energy_wh",
           "Cold starts": "cold_starts", "Peak heating power": "peak_heating_w"}
RULES = """version = 1
[machine]
ambient_c = 23
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 400, time_constant_s = 200, max_c = 290 }
"""
HOSTILE = ["</script><script>alert(1)</script>", "\"' onload=\"alert(1)", "a\x01\x1b[31m\x7f", "ash\u202egpj\u2066",
           "x" * 200, "<b>&amp;"]


def record(seconds=520, step=2, heater="0", name="heater"):
    """A heat-up at full drive for 100 s, after a dead time, and cooling."""
    full, tau, dead, on, off = 460, 170, 3, 20, 120
    rows, top = [f"time_s,{name},temp_c,drive"], 23.0
    t = 0.0
    while t <= seconds:
        heated = min(t, off + dead) - on - dead
        temp = 23.0
        if heated > 0:
            temp = top = full + (23 - full) * math.exp(-heated / tau)
        if t > off + dead:
            temp = 23 + (top - 23) * math.exp(-(t - off - dead) / tau)
        rows.append(f"{t:g},{heater},{temp + 0.1 * math.sin(t):.4f},{int(on <= t < off)}")
        t += step
    return "\n".join(rows) + "\n"


class Pages(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)

    def run_(self, *arguments):
        return subprocess.run([FOREWARM, *map(str, arguments)], cwd=self.folder, capture_output=True, timeout=300,
                              env={"PATH": os.environ["PATH"], "HOME": str(self.folder)} |
                              {k: v for k, v in os.environ.items() if k.endswith("SAN_OPTIONS")})

    def made(self, *arguments):
        """The page and the JSON of one run."""
        ran = self.run_(*arguments, "-q", "--html", "page.html", "--json", "page.json")
        self.assertEqual(ran.returncode, 0, ran.stderr.decode())
        text = (self.folder / "page.html").read_text()
        self.clean(text)
        return chart_pages.Page(text), json.loads((self.folder / "page.json").read_text())

    def clean(self, text):
        """What tidy says is wrong, where there is a tidy."""
        self.assertIn("default-src 'none'", text)
        self.assertNotIn("unsafe-inline", text)
        if shutil.which("tidy"):
            ran = subprocess.run(["tidy", "-q", "-e"], input=text.encode(), capture_output=True)
            self.assertEqual(ran.stderr.decode(), "")

    def near(self, text, value):
        said, error = chart_pages.amount(text)
        self.assertLessEqual(abs(said - value), error + 1e-9, f"{text} is not {value}")

    def bars_are(self, chart, values):
        bars = chart.bars()
        self.assertEqual(len(bars), len(values))
        widest = max(values)
        full = max(width for _, _, width in bars)
        for (_, text, width), value in zip(bars, values):
            self.near(text, value)
            if widest > 0:
                # A bar that would be thinner than a pixel is a pixel wide.
                self.assertAlmostEqual(width, max(full * value / widest, 1 if value > 0 else 0), delta=0.2)

    # --- compare ---------------------------------------------------------------------------------
    def test_policies_as_bars(self):
        page, said = self.made("compare", "--rules", DEMO, JOB)
        rows = [r for r in said["rows"] if r["swept"] is None]
        charts = page.charts()
        self.assertEqual(set(charts), set(FIGURES))
        for caption, key in FIGURES.items():
            [chart] = charts[caption]
            self.bars_are(chart, [r[key] for r in rows])
            self.assertEqual(len(chart.bounds()), len(rows) + 1 if key in said["bound"] else 0)
        labels = [label for label, _, _ in charts["Time"][0].bars()]
        # Full is the rule file's own policy, broken the job as sliced, light all others.
        fills = [r.attributes["class"] for r in charts["Time"][0].svg.all("rect") if r.has("bar")]
        self.assertEqual(fills, ["bar outline", *["bar light"] * (len(rows) - 2), "bar"])
        self.assertEqual(labels[0], "as-sliced")
        self.assertEqual(labels[-1], "lookahead *")
        self.assertIn("bound 10.3 s", charts["Waiting"][0].texts("mark"))
        # The bound is drawn where it belongs: as far out as a bar of its length.
        chart = charts["Hot idle"][0]
        full = max(width for _, _, width in chart.bars()) / max(r["hot_idle_s"] for r in rows)
        self.assertAlmostEqual(chart.bounds()[0] - 14, full * said["bound"]["hot_idle_s"], delta=0.3)
        heads, table = page.tables()[0]
        for row, cells in zip(rows, table):
            for head, cell in zip(heads[1:], cells[1:]):
                self.near(cell, row[FIGURES.get(head) or "peak_heating_w"])
        self.assertEqual(table[-1][0], "physical bound")

    def test_a_sweep_as_curves(self):
        page, said = self.made("compare", "--rules", DEMO, "--sweep", "off_over_s=300:2700:600", "--sweep",
                               "timer_off_s=600:3600:1000", JOB)
        self.assertEqual(page.headings(), ["Policies side by side", "Lookahead, by off_over_s", "Timers, by timer_off_s"])
        for at, (key, own) in enumerate([("off_over_s", 1500), ("timer_off_s", 900)], 1):
            rows = [r for r in said["rows"] if r["swept"] == key]
            in_force = next(r for r in said["rows"] if r["swept"] is None and r[key] == own)
            for caption, figure in FIGURES.items():
                chart = page.charts()[caption][at]
                unit = chart.texts("axis")[0].partition(", ")[2]
                per = chart_pages.PER.get(unit, 1)
                error = chart.scale("y")[1] * per + 1e-6
                x_error = chart.scale("x")[1] + 1e-6
                for word, wanted in (("dots", rows), ("line", rows), ("shapes", [in_force | {"value": own}])):
                    points = chart.points(word)
                    self.assertEqual(len(points), len(wanted), (caption, word))
                    for (x, y), row in zip(points, wanted):
                        self.assertAlmostEqual(x, row["value"], delta=x_error)
                        self.assertAlmostEqual(y * per, row[figure], delta=error)
                moment = next(l for l in chart.svg.all("line") if l.has("moment"))
                self.assertAlmostEqual(chart.scale("x")[0](float(moment.attributes["x1"])), own, delta=x_error)
                self.assertIn(f"in force: {own}", chart.texts("mark"))
                levels = [float(l.attributes["y1"]) for l in chart.svg.all("line") if l.has("bound")]
                self.assertEqual(len(levels), 1 if figure in said["bound"] else 0)
                for level in levels:
                    self.assertAlmostEqual(chart.scale("y")[0](level) * per, said["bound"][figure], delta=error)

    def test_a_sweep_of_one_value_and_one_in_force_that_is_no_number(self):
        rules = self.folder / "best.toml"
        rules.write_text(DEMO.read_text().replace("off_over_s = 1500", "off_over_s = \"best\""))
        self.assertIn("best", rules.read_text())
        page, said = self.made("compare", "--rules", rules, "--sweep", "off_over_s=600", JOB)
        [row] = [r for r in said["rows"] if r["swept"]]
        chart = page.charts()["Hot-end energy"][1]
        [(x, y)] = chart.points("dots")
        self.assertAlmostEqual(x, 600, delta=1)
        self.assertAlmostEqual(y, row["energy_wh"], delta=0.1)
        self.assertEqual(chart.points("shapes"), [])
        self.assertIn("In force is no number", page.root.text())

    def test_rows_of_rule_files(self):
        page, said = self.made("compare", "--rules", DEMO, "--set", "toolhead.birch.exchange_s=20", "--set",
                               "gap.off_over_s=600", JOB)
        charts = page.charts()
        for caption, key in list(FIGURES.items())[:5] + [("Exchanges", "exchanges"), ("Purge", "purge_g"),
                                                        ("All changes", "change_s")]:
            self.bars_are(charts[caption][0], [r[key] for r in said["rows"]])
        self.assertEqual([label for label, _, _ in charts["Time"][0].bars()],
                         ["1: as it is", "2: toolhead.birch.exchange_s...", "3: gap.off_over_s = 600",
                          "4: toolhead.birch.exchange_s..."])
        items = [i.text() for i in page.root.all("li")]
        self.assertEqual(items[3], "row 4: demo.toml with toolhead.birch.exchange_s = 20, gap.off_over_s = 600")
        self.assertEqual(len(charts["Waiting"][0].bounds()), len(said["rows"]) + 1)
        self.assertEqual(charts["Waiting"][0].texts("mark"), ["bound 10.3 s"])
        # Rows whose bounds differ have no one bound in the key.
        page, said = self.made("compare", "--rules", DEMO, "--set", "toolhead.birch.heater.full_drive_c=300", JOB)
        waits = [row["bound"]["wait_s"] for row in said["rows"]]
        self.assertGreater(max(waits) - min(waits), 1)
        self.assertEqual(page.charts()["Waiting"][0].texts("mark"), ["bound of each"])

    # --- calibrate -------------------------------------------------------------------------------
    def test_calibration(self):
        (self.folder / "rules.toml").write_text(RULES)
        (self.folder / "heat.csv").write_text(record())
        page, said = self.made("calibrate", "--rules", "rules.toml", "heat.csv")
        [heater] = said["heaters"]
        self.assertEqual(page.headings(), ["ash (heater 0)"])
        constants = {key: value.split(" (")[0].split(" +- ") for key, value in page.tables()[0][1]}
        for key in ("full_drive_c", "time_constant_s", "dead_time_s", "cool_time_constant_s"):
            self.near(constants[key][0], heater[key])
            self.near(constants[key][1], heater[key + "_sd"])
        charts = page.charts()
        self.assertEqual(list(charts), ["Heat-ups: measured and fitted", "Heat-ups: residuals",
                                        "Cool-downs: measured and fitted", "Cool-downs: residuals"])
        drawn = sum(len(charts[c][0].points("dots")) for c in charts if "residuals" in c)
        self.assertGreater(drawn, 50)
        self.assertLessEqual(drawn, heater["samples"])
        # What was measured, less what was fitted, is the residual; as the record has it.
        readings = {float(r.split(",")[0]): float(r.split(",")[2]) for r in record().splitlines()[1:]}
        heads, rows = next(t for t in page.tables() if "Residual" in t[0])
        self.assertEqual(heads, ["Stretch", "Time", "Measured", "Fitted", "Residual"])
        self.assertGreater(len(rows), 20)
        squares = []
        for _, _, measured, fitted, residual in rows:
            self.assertAlmostEqual(chart_pages.amount(measured)[0] - chart_pages.amount(fitted)[0],
                                   chart_pages.amount(residual)[0], delta=0.11)
            self.assertTrue(any(abs(chart_pages.amount(measured)[0] - r) < 0.051 for r in readings.values()))
            squares.append(chart_pages.amount(residual)[0] ** 2)
        self.assertLess(math.sqrt(sum(squares) / len(squares)), 3 * heater["rms_c"])
        # Of a heat-up and of what cools after it, from the beginning to the end of each.
        for stretch in ("heat-up 1", "cool-down 1"):
            times = [chart_pages.amount(row[1])[0] for row in rows if row[0] == stretch]
            self.assertEqual(times[0], 0)
            self.assertGreater(times[-1], 80)
            apart = [b - a for a, b in zip(times, times[1:])]
            self.assertLess(max(apart) - min(apart), 5)
        self.assertEqual({row[0] for row in rows}, {"heat-up 1", "cool-down 1"})
        lines = next(t for t in page.tables()[1:] if t[0] == ["Key", "Value"])[1]
        text = self.run_("calibrate", "-q", "--rules", "rules.toml", "heat.csv").stdout.decode()
        for key, value in lines:
            self.assertIn(f"\n{key} = {value}\n", text)

    def test_a_heater_of_which_nothing_can_be_told(self):
        (self.folder / "rules.toml").write_text(RULES)
        idle = "".join(f"{t},9,23,0\n" for t in range(0, 520, 2))
        (self.folder / "two.csv").write_text(record() + idle)
        page, said = self.made("calibrate", "--rules", "rules.toml", "two.csv")
        [refused] = [h["refused"] for h in said["heaters"] if h["refused"]]
        self.assertIn(f"Nothing can be told: {refused}", page.root.text())
        self.assertEqual(len(page.headings()), 2)

    def test_a_long_record_makes_no_long_page(self):
        (self.folder / "rules.toml").write_text(RULES)
        (self.folder / "heat.csv").write_text(record(seconds=6000, step=0.02))
        page, _ = self.made("calibrate", "--rules", "rules.toml", "heat.csv")
        self.assertLess((self.folder / "page.html").stat().st_size, 150_000)
        self.assertIn("There is more than can be drawn", page.root.text())

    # --- all -------------------------------------------------------------------------------------
    def test_hostile_names_stay_text(self):
        for name in HOSTILE:
            with self.subTest(name=name[:20]):
                rules = RULES.replace('"ash"', json.dumps(name.replace("\x01", "").replace("\x1b", "").replace("\x7f", "")))
                (self.folder / "rules.toml").write_text(rules.replace("[machine]", f"[machine]\nname = {json.dumps(name[:80], ensure_ascii=True)}"))
                heat = self.folder / "heat.csv"
                heat.write_text(record())
                if self.run_("rules", "check", "rules.toml").returncode == 0:
                    self.made("calibrate", "--rules", "rules.toml", "heat.csv")
                    text = (self.folder / "page.html").read_text()
                    self.assertNotIn("<script", text)
                    self.assertNotIn("\u202e", text)
                # The name of a job, or of a record, is as hostile as its file system allows.
                file = self.folder / name.replace("/", "_")[:200]
                file.write_bytes((SOURCE / "fixtures" / "single_tool.gcode").read_bytes())
                self.made("compare", "--rules", DEMO, file)
                text = (self.folder / "page.html").read_text()
                self.assertNotIn("\u202e", text)
                self.assertFalse(any(ord(c) < 32 and c != "\n" or ord(c) == 127 for c in text))

    def test_a_page_replaces_no_file_that_is_not_one(self):
        (self.folder / "rules.toml").write_text(RULES)
        (self.folder / "heat.csv").write_text(record())
        mine = self.folder / "mine.html"
        compare = ("compare", "-q", "--rules", DEMO, JOB)
        calibrate = ("calibrate", "-q", "--rules", "rules.toml", "heat.csv")
        for command in (compare, calibrate):
            mine.write_text("<!DOCTYPE html>\n<title>mine</title>\n")
            ran = self.run_(*command, "--html", mine)
            self.assertEqual(ran.returncode, 2)
            self.assertIn(b"not an earlier HTML report", ran.stderr)
            self.assertEqual(ran.stdout, b"")
            self.assertIn("mine", mine.read_text())
            mine.unlink()
            self.assertEqual(self.run_(*command, "--html", mine).returncode, 0)
            first = mine.read_bytes()
            self.assertEqual(self.run_(*command, "--html", mine).returncode, 0)
            self.assertEqual(mine.read_bytes(), first)
            # To standard output it is the page alone.
            ran = self.run_(*command, "--html", "-")
            self.assertEqual((ran.returncode, ran.stdout), (0, first))
            ran = self.run_(*command, "--html", "-", "--json", "-")
            self.assertIn(b"only one result can go to standard output", ran.stderr)
            ran = self.run_(*command, "--html", "two", "--json", "two")
            self.assertIn(b"two outputs would be one file", ran.stderr)
            ran = self.run_(*command, "--html", "no/such/page.html")
            self.assertNotEqual(ran.returncode, 0)
            mine.unlink()
        ran = self.run_(*calibrate, "--html", "heat.csv")
        self.assertIn(b"would overwrite the record", ran.stderr)
        ran = self.run_("calibrate", "--rules", "rules.toml", "--make-job", "measure.gcode", "--html", "page.html")
        self.assertEqual(ran.returncode, 2)
        self.assertFalse((self.folder / "measure.gcode").exists())


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1], verbosity=1)
