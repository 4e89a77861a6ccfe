#!/usr/bin/env python3
"""The pages as the build makes them: clean, the same again, and dated as they should be.

Usage: manual_test.py FOREWARM_PAGES FOLDER-OF-PAGES"""
import filecmp
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile
import unittest

GENERATOR, FOLDER = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
PAGES = sorted(FOLDER.iterdir())


class Manual(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)

    def generate(self, name, **env):
        out = self.folder / name
        out.mkdir()
        base = {k: v for k, v in os.environ.items() if k != "SOURCE_DATE_EPOCH"}
        subprocess.run([GENERATOR, out], env=base | env, check=True, timeout=60)
        return out

    def tool(self, *command):
        if shutil.which(command[0]) is None:
            self.skipTest(f"{command[0]} is not installed")
        return subprocess.run(list(map(str, command)), capture_output=True, text=True, timeout=60)

    def test_each_command_has_a_page(self):
        names = {page.name for page in PAGES}
        self.assertLessEqual({"forewarm.1", "forewarm-rewrite.1", "forewarm-rules.1",
                              "forewarm-rules.5"}, names)
        self.assertGreater(len(names), 12)

    def test_lint(self):
        r = self.tool("mandoc", "-T", "lint", "-W", "warning", *PAGES)
        self.assertEqual((r.returncode, r.stdout, r.stderr), (0, "", ""))

    def test_lint_would_find_something(self):
        bad = self.folder / "bad.1"
        bad.write_text(".Dd March 5, 2027\n.Dt BAD 1\n.Os\n.Sh NAME\n.Nm bad\n.Nd x\n.Zz\n")
        r = self.tool("mandoc", "-T", "lint", "-W", "warning", bad)
        self.assertNotEqual(r.returncode, 0)

    def test_what_man_prints(self):
        r = self.tool("mandoc", "-T", "ascii", FOLDER / "forewarm-rewrite.1")
        text = r.stdout
        for _ in range(text.count("\b")):  # bold is printed by going back
            at = text.find("\b")
            text = text[:at - 1] + text[at + 1:]
        self.assertIn("-o, --output FILE", text)
        self.assertIn("Hot ends burn", text)
        self.assertIn("forewarm rewrite [options] JOB", text)

    def test_same_bytes_again(self):
        one, two = self.generate("one"), self.generate("two", TZ="Asia/Tokyo", LC_ALL="C")
        for kind in ("man", "completions"):
            names = os.listdir(one / kind)
            same, differ, odd = filecmp.cmpfiles(one / kind, two / kind, names, shallow=False)
            self.assertEqual((sorted(same), differ, odd), (sorted(names), [], []))

    def test_date(self):
        dated = self.generate("dated", SOURCE_DATE_EPOCH="1804248000")
        for page in (dated / "man").iterdir():
            self.assertTrue(page.read_text().startswith(".Dd March 5, 2027\n"), page.name)

    def test_a_folder_that_cannot_be_made_is_an_error(self):
        (self.folder / "man").write_text("")
        r = subprocess.run([GENERATOR, self.folder], capture_output=True, timeout=60)
        self.assertEqual(r.returncode, 1)
        self.assertTrue(r.stderr.startswith(b"forewarm_pages: "), r.stderr)


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1], verbosity=2)
