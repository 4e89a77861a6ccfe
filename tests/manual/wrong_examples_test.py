#!/usr/bin/env python3
"""examples_test.py finds what is wrong in a document, and runs nothing that is no example.

Usage: wrong_examples_test.py FOREWARM SIMULATED-MACHINE SOURCE-FOLDER"""
import pathlib
import subprocess
import sys
import tempfile
import unittest

FOREWARM, PLAYER, SOURCE = sys.argv[1:4]
RUNNER = pathlib.Path(__file__).with_name("examples_test.py")
VERSION = subprocess.run([FOREWARM, "--version"], capture_output=True, text=True, check=True).stdout


class Documents(unittest.TestCase):
    def judged(self, text, name="document.md"):
        """What the runner says of the document, without the line that counts."""
        with tempfile.TemporaryDirectory() as folder:
            path = pathlib.Path(folder) / name
            path.write_text(text)
            done = subprocess.run([RUNNER, "--least", "0", FOREWARM, PLAYER, SOURCE, path], capture_output=True, text=True)
        self.assertIn(done.returncode, (0, 1), done.stderr)
        *said, counted = done.stdout.splitlines()
        return "\n".join(said), counted

    def good(self, text, commands, **more):
        self.assertEqual(self.judged(text, **more), ("", f"{commands} commands, 0 of them wrong"))

    def wrong(self, text, says, **more):
        said, counted = self.judged(text, **more)
        self.assertIn(says, said)
        self.assertRegex(counted, r"^\d+ commands, 1 of them wrong$")

    def test_lines_that_are_no_commands_are_not_run(self):
        self.good("What the file says:\n\n    false\n    exit 1\n    forewarmed\n\nAnd text: forewarm --nonsense\n    forewarm x", 0)

    def test_commands_that_end_well(self):
        self.good("Say:\n\n    forewarm --version    # a comment\n    forewarm --help | head -n 1\n\n```\nforewarm rules check\n```\n", 3)

    def test_a_command_that_ends_badly(self):
        self.wrong("Say:\n\n    forewarm --version\n    forewarm forecast --nonsense job.gcode\n", "document.md:3: forewarm forecast --nonsense")
        self.wrong("```\nforewarm forecast missing.gcode\n```\n", "document.md:2: forewarm forecast missing.gcode\n    exit code 4")
        self.wrong("    cat missing | forewarm rules check\n", "exit code")

    def test_a_comparison_may_find_something_and_nothing_else_may(self):
        self.good("    forewarm diff original.gcode rewritten.gcode\n", 1)
        self.wrong("    forewarm --version; false\n", "exit code 1")

    def test_ways_to_use_one_job_start_from_the_same_job(self):
        self.good("    forewarm restore job.gcode\n    forewarm restore job.gcode -o original.gcode\n    forewarm rewrite job.gcode\n", 3)

    def test_an_example_goes_on_where_it_was(self):
        self.good("    $ forewarm rewrite -q job.gcode\n    $ forewarm restore -q job.gcode && cmp job.gcode original.gcode\n", 2)

    def test_what_an_example_prints(self):
        lines = VERSION.splitlines()
        self.good("".join(f"    {line}\n" for line in ["$ forewarm --version", *lines]), 1)
        self.good(f"    $ forewarm --version\n    {lines[0]}\n    …\n", 1)
        self.good(f"    $ forewarm --version\n    forewarm …\n    ...\n    $ echo done\n    done\n", 2)
        self.wrong("    $ forewarm --version\n    forewarm 0.0.0\n    …\n", "and not\n    forewarm 0.0.0")
        self.wrong(f"    $ forewarm --version\n    {lines[0]}\n", "and not\n")

    def test_a_block_that_is_left_out_says_why(self):
        self.good("<!-- not run: it needs a printer -->\n\n    forewarm --nonsense\n", 0)
        self.good("<!-- not run: it needs a printer -->\n```\nforewarm --nonsense\n```\n", 0)
        self.wrong("<!-- not run: -->\n\n    forewarm --nonsense\n", "--nonsense")
        self.wrong("<!-- not run: it needs a printer -->\n\n    forewarm -x\n\nText.\n\n    forewarm --nonsense\n", "--nonsense")

    def test_manual_pages(self):
        self.good(".Sh SYNOPSIS\n.Bd -literal\nforewarm WORD [options]\n.Ed\n.Sh EXAMPLES\n.Dl forewarm \\-\\-version\n.Bd -literal -offset indent\nforewarm rules check\n.Ed\n.Bd -literal\nfalse\n.Ed\n", 2, name="a.1")
        self.wrong(".nf\nforewarm \\-\\-nonsense\n.fi\n", "a.1:2: forewarm --nonsense", name="a.1")

    def test_too_few(self):
        with tempfile.NamedTemporaryFile("w", suffix=".md") as document:
            done = subprocess.run([RUNNER, "--least", "1", FOREWARM, PLAYER, SOURCE, document.name], capture_output=True, text=True)
        self.assertEqual((done.returncode, done.stdout.splitlines()[-1]), (1, "fewer than 1: the examples are not found"))


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
