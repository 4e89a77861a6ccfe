#!/usr/bin/env python3
"""Tests of what scripts/bench measures with; nothing is timed here. Usage: bench_test.py FOREWARM RULES SOURCE-FOLDER"""
import io
import json
import pathlib
import re
import subprocess
import sys
import tempfile
import unittest

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
import bench_job
import growth
import plain_rewriter

FOREWARM, RULES, SOURCE = sys.argv[1:4]


def job(size, changes):
    out = io.BytesIO()
    said = bench_job.write(out, size, changes)
    assert said == len(out.getvalue())
    return out.getvalue()


class Jobs(unittest.TestCase):
    def test_size_and_changes_are_as_asked(self):
        for size, changes in [(1000, 0), (20_000, 10), (300_000, 7), (300_000, 400), (1_000_000, 1)]:
            text = job(size, changes)
            self.assertLess(abs(len(text) - size), 700, (size, changes))
            self.assertEqual(len(re.findall(rb"^T\d$", text, re.M)), changes + 1)
            self.assertEqual(text, job(size, changes))

    def test_what_does_not_fit_is_refused(self):
        with self.assertRaises(ValueError):
            job(10_000, 100)

    def test_the_program_finds_these_changes_and_gives_the_job_back(self):
        with tempfile.TemporaryDirectory() as folder:
            path, out = f"{folder}/job.gcode", f"{folder}/out.gcode"
            pathlib.Path(path).write_bytes(job(200_000, 30))
            said = subprocess.run([FOREWARM, "forecast", "-q", "--rules", RULES, "--json", "-", path],
                                  check=True, capture_output=True).stdout
            changes = json.loads(said)["changes"]
            self.assertEqual(sum(changes.values()) - changes["redundant"], 30)
            subprocess.run([FOREWARM, "rewrite", "-q", "--rules", RULES, "-o", out, path], check=True)
            subprocess.run([FOREWARM, "restore", out], check=True)
            self.assertEqual(pathlib.Path(out).read_bytes(), pathlib.Path(path).read_bytes())


class PlainRewriter(unittest.TestCase):
    def rewritten(self, text, ahead):
        with tempfile.TemporaryDirectory() as folder:
            path, out = pathlib.Path(folder, "job"), pathlib.Path(folder, "out")
            path.write_bytes(text)
            plain_rewriter.rewrite(str(path), str(out), ahead)
            return out.read_bytes()

    def test_a_preheat_before_each_change_and_nothing_else(self):
        text = job(300_000, 40)
        out = self.rewritten(text, 5)
        lines = out.splitlines(keepends=True)
        self.assertEqual(b"".join(line for line in lines if not line.endswith(plain_rewriter.MARK)), text)
        self.assertEqual(len(lines) - len(text.splitlines()), 40)

    def test_it_is_so_many_seconds_ahead(self):
        text = b"T0\nM109 S210\nG4 S50\nG4 S50\nG4 S10\nT1\nM109 S205\n"
        for ahead, line in [(0, 5), (5, 5), (10, 4), (30, 4), (60, 3), (109, 3), (110, 0), (1000, 0)]:
            self.assertEqual(self.rewritten(text, ahead).splitlines().index(b"M104 T1 S205 ; plain preheat"), line, ahead)


class Growth(unittest.TestCase):
    def test_exponents_are_found(self):
        for p, q in [(1, 1), (1, 0.5), (0.8, 2), (1.2, 1.1)]:
            for start in (0, 0.02):
                points = [(b, c, start + 3e-9 * b**p + 1e-5 * (c**q - 1))
                          for b in (1e6, 2e7, 1e9) for c in (1, 10_000, 100_000_000)]
                got = growth.exponents(points, start)
                self.assertAlmostEqual(got[0], p, places=6)
                self.assertAlmostEqual(got[1], q, places=2)

    def test_of_more_sizes_the_one_with_most_changes_tells(self):
        points = [(1e6, 10, 1), (1e6, 100, 50), (2e7, 10, 20), (2e7, 100, 21), (2e7, 1000, 30), (2e7, 10000, 120)]
        p, q = growth.exponents(points)
        self.assertAlmostEqual(p, 1)
        self.assertAlmostEqual(q, 1)

    def test_what_does_not_vary_has_none(self):
        self.assertEqual(growth.exponents([(1e6, 10, 1)]), (None, None))
        self.assertEqual(growth.exponents([(1e6, 10, 1), (1e6, 100, 2)]), (None, None))
        p, q = growth.exponents([(1e6, 10, 1), (1e8, 10, 10)])
        self.assertAlmostEqual(p, 0.5)
        self.assertIsNone(q)
        # More changes that took no time.
        self.assertEqual(growth.exponents([(1e6, 10, 1), (1e6, 100, 0.9), (1e6, 1000, 1)]), (None, None))


class Command(unittest.TestCase):
    def test_usage(self):
        for arguments in [["--sizes", "x"], ["--sizes", "0"], ["--changes", "-1"], ["--repeat", "0"], ["extra"]]:
            ran = subprocess.run([f"{SOURCE}/scripts/bench", *arguments], capture_output=True)
            self.assertEqual(ran.returncode, 2, arguments)

    def test_a_small_run_by_a_program_that_is_built(self):
        with tempfile.TemporaryDirectory() as folder:
            ran = subprocess.run([f"{SOURCE}/scripts/bench", "--forewarm", FOREWARM, "--sizes", "0.02,0.1", "--changes",
                                  "4,20", "--repeat", "1", "--json", f"{folder}/f.json"], capture_output=True, text=True)
            self.assertEqual(ran.returncode, 0, ran.stderr)
            figures = json.loads(pathlib.Path(folder, "f.json").read_text())
        rows = figures["rows"]
        programs = {row["program"] for row in rows}
        ours = {"start", "forecast", "rewrite", "in place", "check", "diff", "restore"}
        self.assertEqual(programs, {"forewarm " + name for name in ours} | {"cp", "cat", "wc -l", "sed", "plain rewriter"})
        self.assertEqual(len(rows), 4 * len(programs))
        for figure in ("seconds", "mb_s", "x_cp", "x_sed", "peak_mb"):
            self.assertTrue(all(row[figure] > 0 for row in rows), figure)
        self.assertGreater(figures["batch"]["times_faster"], 0)
        self.assertEqual({fit["program"] for fit in figures["growth"]}, programs - {"forewarm start"})
        for program in programs:
            self.assertIn(f"\n{program} ", ran.stdout)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
