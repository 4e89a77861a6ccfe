#!/usr/bin/env python3
"""The real program as a slicer starts it: `rewrite --hook`, options first, the job's path last.

Usage: as_a_hook.py FOREWARM
The cases that mount something are skipped where that cannot be had, and those that make a disk slow
or a liar, where strace cannot trace."""
import fcntl
import os
import pathlib
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import unittest

import faults_help as common
import small_places as places

PROGRAM = os.path.abspath(sys.argv[1])
JOB = common.small_job(comment=40_000)
# What a slicer may give its hook of the environment: nothing. The sanitizers need theirs.
EMPTY = {name: value for name, value in os.environ.items() if name == "ASAN_OPTIONS"}
# Leaks are not looked for in what is traced.
TRACED = {"PATH": os.environ["PATH"], "ASAN_OPTIONS": "detect_leaks=0:" + os.environ.get("ASAN_OPTIONS", "")}


def is_sanitized():
    said = subprocess.run([PROGRAM, "--version"], capture_output=True, text=True, check=True).stdout
    return "with sanitizers" in said


def can_trace():
    with tempfile.TemporaryDirectory() as name:
        log = pathlib.Path(name) / "log"
        if shutil.which("strace") is None:
            return False
        subprocess.run(["strace", "-o", log, "-e", "inject=chdir:error=EIO", "sh", "-c", "cd /"], capture_output=True)
        return log.exists() and "(INJECTED)" in log.read_text()


class Hook(places.Place):
    def setUp(self):
        super().setUp()
        self.hook = ["rewrite", "--hook", "--rules", self.rules]
        self.page = self.folder / "job.gcode.html"

    @property
    def elsewhere(self):
        """Where slicers happen to stand."""
        out = self.folder / "elsewhere"
        out.mkdir(exist_ok=True)
        return out

    def run_(self, *words, **more):
        (self.folder / "tmp").mkdir(exist_ok=True)
        more.setdefault("env", EMPTY)
        return common.run([PROGRAM, *words], self.elsewhere, **more)

    def is_done(self, done, job=None, page=None):
        job = job or self.job
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertEqual(done.stdout or b"", b"")
        self.holds(job, self.new)
        self.is_page(page or pathlib.Path(os.fsdecode(os.fsencode(job) + b".html")))
        self.clean()

    def is_page(self, page):
        text = page.read_bytes()
        self.assertTrue(text.startswith(b"<!DOCTYPE html>"), text[:80])
        self.assertTrue(text.endswith(b"</html>\n"), text[-80:])

    def stays(self, done, code, text, page=False):
        self.assertEqual(done.returncode, code, done.stderr)
        self.assertIn(text, done.stderr.decode(errors="replace"))
        self.assertEqual(done.stderr.count(b"forewarm: error: "), 1, done.stderr)
        self.holds(self.job, JOB)
        self.assertEqual(self.page.exists(), page)
        self.clean()


class AsSlicersCall(Hook):
    def test_one_line_says_it_all(self):
        done = self.run_(*self.hook, self.job)
        self.is_done(done)
        self.assertRegex(done.stderr.decode(), re.compile(
            rf"forewarm: info: {self.job}: \d+ changes, \d+ commands inserted, \d+ removed; [^;]+ of waiting and "
            rf"[^;]+ of hot idle in \d+ min \d\d s; checked: no findings; report: {self.page}; rules: {self.rules}\n"))
        self.assertEqual(done.stderr.count(b"\n"), 1)
        self.job.write_bytes(JOB)
        self.assertEqual(self.run_(*self.hook, "-q", self.job).stderr, b"")
        self.holds(self.job, self.new)

    def test_twice_is_once(self):
        self.is_done(self.run_(*self.hook, self.job))
        page = self.page.read_bytes()
        self.is_done(self.run_(*self.hook, self.job))
        self.assertEqual(self.page.read_bytes(), page)
        self.works("restore", self.job)
        self.holds(self.job, JOB)

    def test_names_of_all_kinds(self):
        for name in (b"two words.gcode", b" .gcode", b"caf\xe9 \xff.gcode", "Wanderweg ü.gcode".encode(), b"a\nb.gcode",
                     b"'\"$(exit 9).gcode", b"no-ending", b".hidden", b"%s%n{}.gcode", b"x" * 245 + b".g"):
            job = pathlib.Path(os.fsdecode(os.fsencode(self.folder) + b"/" + name))
            job.write_bytes(JOB)
            done = self.run_(*self.hook, job)
            self.is_done(done, job)
            self.assertEqual(done.stderr.count(b"\n"), 1, done.stderr)
            done.stderr.decode()  # a line of text, whatever the name was
            job.unlink()
            reports = self.folder / "pages"
            job.write_bytes(JOB)
            done = self.run_(*self.hook, "--reports", reports, job)
            self.is_done(done, job, pathlib.Path(os.fsdecode(os.fsencode(reports) + b"/" + name + b".html")))
            job.unlink()

    def test_a_name_that_begins_like_an_option(self):
        for words, name in ((["./-x.gcode"], "-x.gcode"), (["--", "-x.gcode"], "-x.gcode"),
                            (["--", "--hook"], "--hook"), (["./--diff"], "--diff")):
            job = self.elsewhere / name
            job.write_bytes(JOB)
            self.is_done(self.run_(*self.hook, *words), job)
        self.assertEqual(self.run_(*self.hook, "-x.gcode").returncode, 2)

    def test_a_path_that_leads_there_from_elsewhere(self):
        (self.elsewhere / "link.gcode").symlink_to(self.job)
        self.is_done(self.run_(*self.hook, "link.gcode"), page=self.elsewhere / "link.gcode.html")
        self.job.write_bytes(JOB)
        self.is_done(self.run_(*self.hook, "../job.gcode"))

    def test_the_folder_of_pages(self):
        deep = self.folder / "pages" / "of all jobs"
        self.is_done(self.run_(*self.hook, "--reports", deep, self.job), page=deep / "job.gcode.html")
        self.assertFalse(self.page.exists())
        self.job.write_bytes(JOB)
        (deep / "job.gcode.html").unlink()
        self.is_done(self.run_(*self.hook, "--reports", f"{deep}/", self.job), page=deep / "job.gcode.html")

    def test_nobody_at_the_other_end(self):
        ends = {"stdin": subprocess.DEVNULL, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        for closed in ends:
            self.job.write_bytes(JOB)
            reading, writing = os.pipe()
            os.close(reading)
            done = self.run_(*self.hook, self.job, **{**ends, closed: writing})
            os.close(writing)
            self.is_done(done)
        for script in ('exec "$@" <&- >&- 2>&-', 'exec "$@" <&-', 'exec "$@" 2>&-'):
            self.job.write_bytes(JOB)
            self.is_done(common.run(["sh", "-c", script, "sh", PROGRAM, *self.hook, self.job], self.elsewhere,
                                    env=EMPTY))

    def test_a_pipe_that_nobody_empties(self):
        """A slicer may look at it when the hook has ended, or never."""
        reading, writing = os.pipe()
        process = subprocess.Popen([PROGRAM, *map(str, self.hook), str(self.job)], cwd=self.elsewhere, env=EMPTY,
                                   stdin=subprocess.DEVNULL, stdout=writing, stderr=writing)
        os.close(writing)
        self.assertEqual(process.wait(timeout=60), 0)
        os.close(reading)
        self.holds(self.job, self.new)

    def test_an_input_that_never_comes(self):
        reading, writing = os.pipe()  # open, and nothing is ever written
        self.addCleanup(os.close, writing)
        self.is_done(self.run_(*self.hook, self.job, stdin=reading))
        self.job.write_bytes(JOB)
        os.set_blocking(writing, False)
        os.write(writing, b"left alone")
        self.is_done(self.run_(*self.hook, self.job, stdin=reading))
        self.assertEqual(os.read(reading, 100), b"left alone")
        os.close(reading)

    def test_nothing_to_rewrite(self):
        self.job.write_bytes(b"M83\nM104 T0 S200\nT0\nM109 T0 S200\nG1 X5 E1 F600\nM104 T0 S0\n")
        one = self.job.read_bytes()
        done = self.run_(*self.hook, self.job)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn(b"job.gcode: only one tool prints, once: the job is left as it is", done.stderr)
        self.holds(self.job, one)
        self.is_page(self.page)

    def test_rules_that_leave_it_as_it_is_undo_an_earlier_rewrite(self):
        self.rules.write_text(common.RULES + '[gap]\npolicy = "as-sliced"\n')
        self.job.write_bytes(self.new)
        done = self.run_(*self.hook, self.job)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn(b"policy as-sliced", done.stderr)
        self.holds(self.job, JOB)

    def test_filaments_that_move(self):
        self.is_done(self.run_(*self.hook, self.job))
        done = self.run_(*self.hook, "--map", "0=1,1=0", self.job)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.assertIn(b"checked: no findings", done.stderr)
        self.works("restore", self.job)
        self.holds(self.job, JOB)


class WhatIsRefused(Hook):
    def test_options_that_contradict_it(self):
        for option, words, hint in (
                ("-o", ["-o", "out.gcode"], "without --hook, -o writes a job that check can look at"),
                ("--diff", ["--diff"], "leave --hook out to see what it would do"),
                ("--dry-run", ["--dry-run"], "leave --hook out to see what it would do"),
                ("--html", ["--html", "x.html"], "its page has the job's name; --reports FOLDER says where it goes"),
                ("--json", ["--json", "-"], "leave --hook out to see what it would do")):
            self.stays(self.run_(*self.hook, *words, self.job), 2,
                       f"error: --hook rewrites in place: it does not go with {option}\n  hint: {hint}\n")
        self.stays(self.run_(*self.hook, "-", stdin=subprocess.DEVNULL), 2, "the job cannot be standard input")
        self.stays(self.run_(*self.rewrite, "--reports", "x", self.job), 2, "--reports needs --hook")
        self.assertEqual(os.listdir(self.elsewhere), [])

    def test_no_job_no_rules(self):
        self.stays(self.run_(*self.hook), 2, "JOB is required")
        self.stays(self.run_(*self.hook, self.folder / "missing.gcode"), 4, "No such file")
        self.stays(self.run_("rewrite", "--hook", self.job), 2, "there is no rule file that describes the machine")
        self.rules.write_text("version = 1\n[[toolhead]\n")
        self.stays(self.run_(*self.hook, self.job), 2, "rules.toml:2:")

    def test_pipes_that_it_would_have_to_wait_for(self):
        for path, words in ((self.rules, self.hook), (self.page, self.hook),
                            (self.folder / "pages" / "job.gcode.html", [*self.hook, "--reports", self.folder / "pages"])):
            path.parent.mkdir(exist_ok=True)
            path.unlink(missing_ok=True)
            os.mkfifo(path)
            done = self.run_(*words, self.job)
            self.stays(done, 2, f"{path}: is no file: a hook might wait", page=self.page.exists())
            path.unlink()
            self.rules.write_text(common.RULES)
        os.unlink(self.job)
        os.mkfifo(self.job)
        self.assertEqual(self.run_(*self.hook, self.job).returncode, 4)

    def test_a_job_that_is_refused(self):
        bad = JOB + b"T9\n"
        self.job.write_bytes(bad)
        done = self.run_(*self.hook, self.job)
        self.assertEqual(done.returncode, 3)
        self.assertIn(b"no toolhead serves T9", done.stderr)
        self.holds(self.job, bad)
        self.assertFalse(self.page.exists())

    def test_a_rewrite_with_findings(self):
        cut = JOB[:JOB.rindex(b"G4")].replace(b"G21", b"M140 S60\nG21")  # breaks off, with all on
        self.job.write_bytes(cut)
        done = self.run_(*self.hook, self.job)
        self.assertEqual(done.returncode, 1, done.stderr)
        self.assertRegex(done.stderr.decode(), re.compile(
            r"error: .*/job\.gcode: the rewrite has 1 finding, and the job is left as it is:\n"
            r"  job-breaks-off: .*\n"
            r"  hint: lines are those of the rewrite: forewarm rewrite -o NEW JOB writes it, forewarm check JOB NEW "
            r"has all findings\n"))
        self.holds(self.job, cut)
        self.assertFalse(self.page.exists())
        self.clean()
        # Without the hook it is rewritten, with a warning.
        self.works(*self.rewrite, self.job)

    def test_a_page_that_cannot_be_written(self):
        theirs = b"<p>a page of the reserve's own</p>\n"
        self.page.write_bytes(theirs)
        self.stays(self.run_(*self.hook, self.job), 2, "job.gcode.html: this file is not an earlier HTML report",
                   page=True)
        self.assertEqual(self.page.read_bytes(), theirs)
        self.page.unlink()
        self.page.mkdir()
        self.stays(self.run_(*self.hook, self.job), 4, "is a folder, not a file", page=True)
        self.page.rmdir()
        self.stays(self.run_(*self.hook, "--reports", self.rules, self.job), 4,
                   "rules.toml: cannot make this folder: Not a directory")
        self.stays(self.run_(*self.hook, "--reports", "/proc/pages", self.job), 4,
                   "/proc/pages: cannot make this folder: No such file")
        long = self.folder / ("y" * 251)  # with .html, longer than a name can be
        long.write_bytes(JOB)
        done = self.run_(*self.hook, long)
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertIn(b"File name too long", done.stderr)
        self.holds(long, JOB)

    def test_files_and_folders_that_may_not_be_written(self):
        self.job.chmod(0o444)
        self.stays(self.run_(*self.hook, self.job), 4, "is read-only")
        self.job.chmod(0o666)
        if os.geteuid() == 0:  # whom no mode stops
            more = {"user": places.NOBODY, "group": places.NOBODY, "extra_groups": []}
            os.chown(self.job, places.NOBODY, places.NOBODY)
        else:
            more = {}
        program = self.folder / "forewarm"
        shutil.copy(PROGRAM, program)
        self.folder.chmod(0o555)
        self.addCleanup(self.folder.chmod, 0o755)
        done = common.run([program, *self.hook, self.job], "/", env=EMPTY, **more)
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"cannot write to this folder: Permission denied", done.stderr)
        self.holds(self.job, JOB)
        self.folder.chmod(0o777)
        closed = self.folder / "closed"
        closed.mkdir(mode=0o555)
        done = common.run([program, *self.hook, "--reports", closed, self.job], "/", env=EMPTY, **more)
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"closed: cannot write to this folder: Permission denied", done.stderr)
        self.holds(self.job, JOB)
        self.clean()

    def test_no_room(self):
        def limited():
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

        for limit in (0, 511, len(self.new) - 1):
            self.stays(self.run_(*self.hook, self.job, preexec_fn=limited), 4, "job.gcode: cannot write: File too large")
        limit = max(len(self.new), 1_000_000)  # the page of a job may be longer than the job
        self.is_done(self.run_(*self.hook, self.job, preexec_fn=limited))
        # A page longer than its job, which was written already.
        short = common.small_job()
        self.job.write_bytes(short)
        limit = self.page.stat().st_size // 2
        self.page.unlink()
        done = self.run_(*self.hook, self.job, preexec_fn=limited)
        self.assertGreater(limit, 2 * len(short))
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"job.gcode.html: cannot write: File too large", done.stderr)
        self.holds(self.job, short)
        self.assertFalse(self.page.exists())
        self.clean()


class OtherDisks(Hook):
    @unittest.skipUnless(os.access("/dev/shm", os.W_OK), "no /dev/shm")
    def test_a_job_on_another_file_system(self):
        place = pathlib.Path(tempfile.mkdtemp(prefix="forewarm-hook-", dir="/dev/shm"))
        self.addCleanup(shutil.rmtree, place)
        self.assertNotEqual(place.stat().st_dev, self.folder.stat().st_dev)
        job = place / "job.gcode"
        for old in (JOB, self.new):  # of which the second has its original restored in $TMPDIR
            job.write_bytes(old)
            done = self.run_(*self.hook, job, env={**EMPTY, "TMPDIR": str(self.folder / "tmp")})
            self.is_done(done, job)
            self.assertEqual(sorted(os.listdir(place)), ["job.gcode", "job.gcode.html"])
            done = self.run_(*self.hook, "--reports", self.folder / "pages", job)
            self.is_done(done, job, self.folder / "pages" / "job.gcode.html")

    @unittest.skipUnless(places.OWN_MOUNTS in os.environ, "no mounts of one's own: not root, or not allowed")
    def test_a_disk_that_fills_up_at_any_page(self):
        place = self.folder / "small"
        place.mkdir()
        size = 4 * len(JOB) + (1 << 18)
        subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "none", place], check=True)
        self.addCleanup(subprocess.run, ["umount", place], check=True)
        job, page, ballast = place / "job.gcode", place / "job.gcode.html", place / "ballast"
        outcomes = []
        for free in range(60):
            for file in (page, ballast):
                file.unlink(missing_ok=True)
            job.write_bytes(JOB)
            with open(ballast, "wb") as file:
                file.write(bytes((os.statvfs(place).f_bavail - free) * places.PAGE))
            self.assertEqual(os.statvfs(place).f_bavail, free)
            done = self.run_(*self.hook, job)
            outcomes.append(self.all_or_nothing("No space left", done, job, JOB, self.new))
            self.assertEqual(page.exists(), outcomes[-1])
            self.clean(place)
        self.assertFalse(outcomes[0])
        self.assertTrue(outcomes[-1])
        self.assertEqual(outcomes, sorted(outcomes))

    @unittest.skipUnless(can_trace(), "strace cannot trace here")
    def test_a_slow_disk(self):
        """For as long as it takes, the job is the old one."""
        for call in ("write", "fsync", "rename"):
            with self.subTest(call=call):
                self.job.write_bytes(JOB)
                process = subprocess.Popen(
                    ["strace", "-f", "-o", "/dev/null", "-e", "trace=" + call, "-e",
                     f"inject={call}:delay_enter=200000", "--", PROGRAM, *map(str, self.hook), str(self.job)],
                    cwd=self.elsewhere, env=TRACED, stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE, stderr=subprocess.PIPE)
                seen = set()
                while process.poll() is None:
                    found = common.content(self.job)
                    self.assertIn(found, (JOB, self.new))
                    seen.add(found)
                    time.sleep(0.01)
                out, said = process.communicate()
                self.is_done(subprocess.CompletedProcess([], process.returncode, out, said))
                self.assertIn(JOB, seen)

    @unittest.skipUnless(can_trace(), "strace cannot trace here")
    @unittest.skipIf(is_sanitized(), "sanitizers write to find out what memory there is")
    def test_a_disk_that_lies(self):
        """It says that all is written, and keeps nothing: what lies there is what is checked."""
        done = common.run(["strace", "-f", "-o", "/dev/null", "-e", "trace=write", "-e",
                           f"inject=write:retval={len(self.new)}:when=1", "--", PROGRAM, *self.hook, self.job],
                          self.elsewhere, env=TRACED)
        self.stays(done, 1, "and the job is left as it is")


class Company(Hook):
    def test_two_at_once(self):
        for first in (JOB, self.new):
            for _ in range(10):
                self.job.write_bytes(first)
                ready, go = os.pipe()
                both = [subprocess.Popen(["sh", "-c", 'read _; exec "$@" </dev/null', "sh", PROGRAM,
                                          *map(str, self.hook), str(self.job)], cwd=self.elsewhere, env=EMPTY,
                                         stdin=ready, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
                        for _ in range(2)]
                os.close(ready)
                os.close(go)
                said = [process.communicate(timeout=300) for process in both]
                for process, (out, err) in zip(both, said):
                    self.is_done(subprocess.CompletedProcess([], process.returncode, out, err))

    def test_somebody_else_writes_to_it_meanwhile(self):
        """The hook is held up where it writes its page: that is locked."""
        self.page.touch()
        lock = os.open(self.page, os.O_RDONLY)
        fcntl.flock(lock, fcntl.LOCK_EX)
        process = subprocess.Popen([PROGRAM, *map(str, self.hook), str(self.job)], cwd=self.elsewhere, env=EMPTY,
                                   stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        while not any(os.stat(self.folder / name).st_size == len(self.new) for name in common.litter(self.folder)):
            self.assertIsNone(process.poll())
            time.sleep(0.002)
        time.sleep(0.3)  # checked by now, as jobs of this size are
        self.assertIsNone(process.poll())
        self.holds(self.job, JOB)
        with open(self.job, "ab") as file:
            file.write(b"; one more path\n")
        os.close(lock)
        said = process.communicate(timeout=300)[1].decode()
        self.assertEqual(process.returncode, 4, said)
        self.assertIn("job.gcode: the file changed while", said)
        self.holds(self.job, JOB + b"; one more path\n")
        self.clean()


if __name__ == "__main__":
    places.isolate()
    os.umask(0o022)
    common.signals_as_usual()
    unittest.main(argv=sys.argv[:1])
