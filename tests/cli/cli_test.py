#!/usr/bin/env python3
"""The program as a user runs it: exit codes, messages, and what happens to the files.

Usage: cli_test.py FOREWARM SOURCE-FOLDER"""
import fcntl
import json
import os
import pathlib
import pty
import re
import shutil
import stat
import struct
import subprocess
import sys
import tempfile
import termios
import unittest

PROGRAM, SOURCE = os.path.abspath(sys.argv[1]), pathlib.Path(sys.argv[2]).resolve()
DEMO = SOURCE / "config" / "demo.toml"
FIXTURES = SOURCE / "fixtures"
JOB = (FIXTURES / "trail_map_absolute.gcode").read_bytes()
SINGLE = (FIXTURES / "single_tool.gcode").read_bytes()


class Cli(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)
        self.job = self.folder / "job.gcode"
        self.job.write_bytes(JOB)

    def run_(self, *args, env=None, **more):
        more.setdefault("stdin", subprocess.DEVNULL) if "input" not in more else None
        base = {"PATH": os.environ["PATH"], "HOME": str(self.folder)}
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LD_LIBRARY_PATH"):
            if name in os.environ:
                base[name] = os.environ[name]
        return subprocess.run([PROGRAM, *map(str, args)], cwd=self.folder, capture_output=True,
                              env=base | (env or {}), timeout=120, **more)

    def refuses(self, code, text, *args, **more):
        before = self.job.read_bytes()
        r = self.run_(*args, **more)
        self.assertEqual(r.returncode, code, r.stderr.decode())
        self.assertIn(text, r.stderr.decode())
        self.assertEqual(r.stdout, b"")
        self.assertEqual(self.job.read_bytes(), before)
        self.assertEqual([p for p in os.listdir(self.folder) if "fw-tmp" in p], [])

    def works(self, *args, code=0, **more):
        r = self.run_(*args, **more)
        self.assertEqual(r.returncode, code, r.stderr.decode())
        return r.stdout

    def write(self, name, data):
        path = self.folder / name
        path.write_bytes(data if isinstance(data, bytes) else data.encode())
        return path

    # --- usage ---------------------------------------------------------------------------------
    def test_usage(self):
        self.refuses(2, "forewarm needs a command")
        self.refuses(2, "--bogus", "rewrite", "--bogus", self.job)
        self.refuses(2, "JOB is required", "rewrite")
        self.refuses(2, "only one result", "rewrite", "--diff", "--json", "-", self.job)
        self.refuses(2, "--diff writes no job", "rewrite", "--diff", "-o", "x", self.job)
        self.refuses(2, "only one of the two", "diff", "-", "-")

        self.refuses(2, "would overwrite the job", "forecast", "--html", self.job, self.job)
        self.refuses(2, "would overwrite the job", "rewrite", "--json", self.job, self.job)

    def test_help(self):
        self.assertIn(b"smoke alarm", self.works("--help"))
        for command in (["rewrite"], ["forecast"], ["assign"], ["diff"], ["restore"], ["rules", "check"],
                        ["rules", "new"]):
            self.assertIn(b"Example: forewarm", self.works(*command, "--help"))
        self.assertRegex(self.works("--version"), rb"^forewarm \d+\.\d+\.\d+\ncommit: ")

    # --- files ---------------------------------------------------------------------------------
    def test_files_that_cannot_be_read(self):
        self.refuses(4, "missing.gcode: cannot open: No such file", "rewrite", "--rules", DEMO, "missing.gcode")
        self.refuses(4, "is a folder", "rewrite", "--rules", DEMO, self.folder)
        self.refuses(3, "empty: the job is empty", "rewrite", "--rules", DEMO, self.write("empty", ""))
        self.refuses(3, "bin:2:4: the job is not text", "rewrite", "--rules", DEMO,
                     self.write("bin", b"G1\nG1 \0\n"))

    def test_a_read_only_job_is_left_alone(self):
        self.job.chmod(0o444)
        self.refuses(4, "is read-only", "rewrite", "--rules", DEMO, self.job)

    def test_in_place_keeps_mode_and_link(self):
        self.job.chmod(0o640)
        link = self.folder / "link.gcode"
        link.symlink_to("job.gcode")
        self.works("rewrite", "--rules", DEMO, link)
        self.assertTrue(link.is_symlink())
        self.assertEqual(stat.S_IMODE(self.job.stat().st_mode), 0o640)
        self.assertTrue(self.job.read_bytes().startswith(b";forewarm 1 rules="))
        once = self.job.read_bytes()
        self.works("rewrite", "--rules", DEMO, self.job)
        self.assertEqual(self.job.read_bytes(), once)
        self.works("restore", self.job)
        self.assertEqual(self.job.read_bytes(), JOB)

    def test_streams(self):
        once = self.works("rewrite", "--rules", DEMO, "-", input=JOB)
        self.works("rewrite", "--rules", DEMO, self.job, "-o", "out.gcode")
        self.assertEqual((self.folder / "out.gcode").read_bytes(), once)
        self.assertEqual(self.works("rewrite", "--rules", DEMO, self.job, "-o", "-"), once)
        self.assertEqual(self.works("restore", "-", input=once), JOB)
        self.assertEqual(self.job.read_bytes(), JOB)

    def test_nothing_is_written_for_a_look(self):
        diff = self.works("rewrite", "--rules", DEMO, "--diff", self.job, code=1)
        self.assertIn(b"+;forewarm 1 rules=", diff)
        self.works("rewrite", "--rules", DEMO, "--dry-run", self.job)
        self.assertEqual(self.job.read_bytes(), JOB)
        self.works("rewrite", "--rules", DEMO, "-o", "out", self.job)
        other = self.works("diff", "--rules", DEMO, self.job, "out", code=1)
        self.assertEqual(diff.split(b"\n", 2)[2], other.split(b"\n", 2)[2])
        self.assertEqual(self.works("diff", self.job, self.job), b"")

    def test_output_that_cannot_be_written(self):
        self.refuses(4, "No space left", "rewrite", "-q", "--rules", DEMO, self.job, "-o", "/dev/full")
        with open("/dev/full", "wb") as full:
            r = subprocess.run([PROGRAM, "forecast", self.job], stdout=full, stderr=subprocess.PIPE)
        self.assertEqual(r.returncode, 4)
        r = subprocess.run(f"'{PROGRAM}' forecast '{self.job}' >&-", shell=True,
                           stderr=subprocess.PIPE)
        self.assertEqual(r.returncode, 4)
        r = subprocess.run(f"'{PROGRAM}' rewrite -q --rules '{DEMO}' -o - '{self.job}' | head -n 1",
                           shell=True, capture_output=True)
        self.assertEqual(r.stderr, b"")
        self.refuses(4, "", "rewrite", "--rules", DEMO, "--html", self.folder / "no" / "such",
                     self.job)

    def test_texts_of_all_kinds_come_through(self):
        cut = JOB.index(b"\n", 3000) + 1
        odd = (b"; caf\xc3\xa9 \xe9\r\n" + JOB[:cut] + b"; " + b"x" * 10_000_000 + b"\n" +
               JOB[cut:].rstrip(b"\n"))
        self.job.write_bytes(odd)
        self.works("rewrite", "-q", "--rules", DEMO, self.job)
        self.assertNotEqual(self.job.read_bytes(), odd)
        self.works("restore", self.job)
        self.assertEqual(self.job.read_bytes(), odd)

    # --- jobs ----------------------------------------------------------------------------------
    def test_jobs_with_nothing_to_do(self):
        for data in (SINGLE, b"G1 X1\n", b"M83\nT0\nM109 S200\nG1 X5 E1\nT0\nG1 X1 E1\n"):
            self.job.write_bytes(data)
            r = self.run_("rewrite", "--rules", "built-in", self.job)
            self.assertEqual(r.returncode, 0)
            self.assertIn(b"left as it is", r.stderr)
            self.assertEqual(self.job.read_bytes(), data)

    def test_jobs_that_are_refused(self):
        for text, message in (
            ("M83\nT0\n  T9\n", "job.gcode:3:3: no toolhead serves T9"),
            ("M104 T0 S400\n", "job.gcode:1:9: a target of 400 C is above max_c"),
            ("N1 G28*17\n", "job.gcode:1:7: the checksum is wrong"),
            ("G1 X1 ;fw+ x\n", "marks but no valid header"),
            (";forewarm 1 rules=0 original=1:2\n;fw- G1\n", "marks but no valid header"),
            ("M83\nM109 T0 S200\nT0\nG1 X5 E1\nT6\nG1 X9 E1\n", "has not given toolhead \"cedar\""),
        ):
            self.job.write_text(text)
            self.refuses(3, message, "rewrite", "-q", "--rules", DEMO, "job.gcode")

    def test_a_changed_rewrite_is_refused(self):
        self.works("rewrite", "-q", "--rules", DEMO, self.job)
        self.job.write_bytes(self.job.read_bytes().replace(b"M107", b"M106", 1))
        self.refuses(3, "changed since", "restore", self.job)
        self.refuses(3, "changed since", "rewrite", "-q", "--rules", DEMO, self.job)

    def test_a_job_never_reaches_the_terminal_raw(self):
        self.job.write_bytes(b"T9 ;\x1b[31mred\n")
        r = self.run_("rewrite", "--rules", DEMO, self.job)
        self.assertEqual(r.returncode, 3)
        self.assertNotIn(b"\x1b", r.stderr)

    # --- rules ---------------------------------------------------------------------------------
    def test_rule_files(self):
        bad = self.write("bad.toml", DEMO.read_text().replace("park_s", "prak_s", 1))
        self.refuses(2, "park_s", "rules", "check", bad)
        self.refuses(2, "bad.toml:", "rewrite", "--rules", bad, self.job)
        self.refuses(2, "cannot open", "rewrite", "--rules", "none.toml", self.job)
        self.assertIn(b"good: 3 toolheads, 7 filaments", self.works("rules", "check", DEMO))
        new = self.write("new.toml", self.works("rules", "new", "--from", self.job))
        self.assertIn(b"good: 3 toolheads, 7 filaments", self.works("rules", "check", new))
        self.works("rules", "check", self.write("plain.toml", self.works("rules", "new")))

    def test_questions_are_asked_again_on_a_terminal(self):
        keyboard, terminal = os.openpty()
        try:
            os.write(keyboard, b"bench\n0 | 0\n0 | 1 2\n\n\nhot\n290\n\x04")
            r = self.run_("rules", "new", "--ask", stdin=terminal)
        finally:
            os.close(keyboard)
            os.close(terminal)
        said = r.stderr.decode()
        self.assertEqual(r.returncode, 0, said)
        self.assertIn("   T0 is that of two toolheads\n2. Which T numbers", said)
        self.assertIn("   max_c must be a number, not a string\n5. How hot", said)
        self.assertIn("no answers from question 6 on: the defaults stand", said)
        self.assertIn(b'tools = [1, 2]\n', r.stdout)
        self.assertIn(b'max_c = 290 }', r.stdout)
        self.assertIn(b"good: 2 toolheads", self.works("rules", "check", self.write("n.toml", r.stdout)))

    def test_which_rule_file_is_in_force(self):
        usual = self.folder / "config" / "forewarm"
        usual.mkdir(parents=True)
        xdg = {"XDG_CONFIG_HOME": str(self.folder / "config")}
        (self.folder / "rules.toml").write_text("nonsense")  # never the working folder
        self.assertIn(b"each T number", self.works("rules", "check", env=xdg))
        (usual / "rules.toml").write_text(DEMO.read_text())
        self.assertIn(b"3 toolheads", self.works("rules", "check", env=xdg))
        named = self.write("named.toml", self.works("rules", "new", "--from", self.job))
        both = xdg | {"FOREWARM_RULES": str(named)}
        self.assertIn(b"/named.toml, ", self.works("rules", "check", env=both))
        self.assertIn(b"3 toolheads", self.works("rules", "check", "--rules", DEMO, env=both))

    # --- reports -------------------------------------------------------------------------------
    def test_json(self):
        out = json.loads(self.works("forecast", "-q", "--rules", DEMO, "--json", "-", self.job))
        self.assertEqual(out["schema_version"], 1)
        self.assertEqual(list(out["policies"]), ["as_sliced", "timers", "hold", "lookahead"])
        self.assertEqual(out["job"]["bytes"], len(JOB))
        self.assertEqual(len(out["toolheads"]), 3)
        self.assertLess(out["policies"]["lookahead"]["wait_s"],
                        out["policies"]["as_sliced"]["wait_s"] / 3)
        self.works("rewrite", "-q", "--rules", DEMO, "--json", "f.json", "--html", "f.html", self.job)
        self.assertEqual(json.loads((self.folder / "f.json").read_text())["gaps"], out["gaps"])
        self.assertIn("</html>", (self.folder / "f.html").read_text())

    def test_the_width_of_tables(self):
        def longest(columns, *args):
            env = {} if columns is None else {"COLUMNS": columns}
            r = self.run_(*args, env=env)
            self.assertEqual(r.returncode, 0, r.stderr.decode())
            # A path cannot be broken.
            return max(len(l) for l in r.stdout.decode().splitlines()[3:])

        for command in (["forecast", "-q", "--rules", DEMO, "--start", "2027-03-05 18:00", "--away", "22:00-07:00"],
                        ["compare", "-q", "--rules", DEMO, "--sweep", "off_over_s=100:900:400"],
                        ["assign", "-q", "--rules", DEMO]):
            for nonsense in (None, "", "0", "-5", "80x", "99999999999999999999"):
                self.assertTrue(60 < longest(nonsense, *command, self.job) <= 80, (command, nonsense))
            for columns in (80, 90, 120):
                self.assertLessEqual(longest(str(columns), *command, self.job), columns)
            self.assertLessEqual(longest("60", *command, self.job), 72, "figures and heads have the last word")
            self.assertEqual(longest("5", *command, self.job), longest("40", *command, self.job))
        wide, narrow = (self.run_("forecast", "-q", "--rules", DEMO, self.job, env={"COLUMNS": c}).stdout.decode()
                        for c in ("200", "50"))
        for figure in re.findall(r"\d+ h \d\d min|\d+ min \d\d s|\d+\.\d Wh|\d+:\d\d:\d\d", wide.partition("\nattention")[0]):
            self.assertIn(figure, narrow)

    def test_the_width_of_a_terminal(self):
        terminal, end = pty.openpty()
        fcntl.ioctl(end, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 75, 0, 0))
        env = {"PATH": os.environ["PATH"], "HOME": str(self.folder)}
        process = subprocess.Popen([PROGRAM, "forecast", "-q", "--rules", DEMO, "--away", "22:00-07:00", "--start",
                                    "2027-03-05T18:00", self.job.name],
                                   stdin=subprocess.DEVNULL, stdout=end, cwd=self.folder, env=env)
        os.close(end)
        text = b""
        try:
            while more := os.read(terminal, 1 << 16):
                text += more
        except OSError:
            pass  # nobody has the other end any more
        os.close(terminal)
        self.assertEqual(process.wait(timeout=60), 0)
        lines = [l for l in text.decode().replace("\r", "").splitlines() if "demo.toml" not in l]
        self.assertTrue(70 < max(map(len, lines)) <= 75, max(lines, key=len))

    def test_colour(self):
        always = self.run_("rewrite", "--color", "always", "missing")
        self.assertIn(b"\x1b", always.stderr)
        self.assertNotIn(b"\x1b", self.run_("rewrite", "missing").stderr)

    def test_every_policy_writes_a_job_that_restores(self):
        text = DEMO.read_text()
        for policy in ("lookahead", "timers", "hold", "as-sliced"):
            rules = self.write("p.toml", text.replace('policy = "lookahead"', f'policy = "{policy}"'))
            self.assertIn(f'"{policy}"', rules.read_text())
            once = self.works("rewrite", "-q", "--rules", rules, "-", input=JOB)
            if policy == "as-sliced":
                self.assertEqual(once, JOB)
            else:
                self.assertEqual(self.works("restore", "-", input=once), JOB)

    def test_a_job_larger_than_every_buffer(self):
        big = self.folder / "big.gcode"
        subprocess.run([SOURCE / "scripts" / "make_job", "--size", "12000000", "-o", big], check=True)
        before = big.read_bytes()
        self.works("rewrite", "-q", "--rules", DEMO, big)
        self.works("restore", big)
        self.assertTrue(big.read_bytes() == before)


unittest.main(argv=sys.argv[:1])
