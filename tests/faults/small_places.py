#!/usr/bin/env python3
"""The real program where there is little room, where it may not write, where its standard streams
are closed, and where others are at work on the same file.

Usage: small_places.py FOREWARM
The cases that mount something do so in a mount namespace of their own, and are skipped where that
cannot be had."""
import itertools
import os
import pathlib
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import unittest

import faults_help as common

if len(sys.argv) != 2:
    sys.exit(__doc__)
PROGRAM = os.path.abspath(sys.argv[1])
OWN_MOUNTS = "FOREWARM_TEST_OWN_MOUNTS"  # set where mounts are seen by nobody else
NOBODY = 65534
PAGE = resource.getpagesize()
JOB = common.small_job(comment=40_000)


def isolate():
    """Starts this program again in a mount namespace of its own, if that can be had."""
    alone = ["unshare", "--mount", "--propagation", "private"]
    if os.geteuid() != 0 or OWN_MOUNTS in os.environ or shutil.which("unshare") is None:
        return
    probe = subprocess.run([*alone, "mount", "-t", "tmpfs", "none", "/mnt"], capture_output=True)
    if probe.returncode == 0:
        os.environ[OWN_MOUNTS] = "1"
        os.execvp(alone[0], [*alone, sys.executable, *sys.argv])


class Place(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp(prefix="forewarm-places-")).resolve()
        self.addCleanup(shutil.rmtree, self.folder)
        self.folder.chmod(0o755)
        self.rules = self.folder / "rules.toml"
        self.rules.write_text(common.RULES)
        self.other = self.folder / "other.toml"
        self.other.write_text(common.OTHER_RULES)
        self.job = self.folder / "job.gcode"
        self.job.write_bytes(JOB)
        self.rewrite = ["rewrite", "--rules", self.rules]
        self.new = self.works("rewrite", "-q", "--rules", self.rules, self.job, "-o", "-").stdout
        self.assertNotEqual(self.new, JOB)

    def run_(self, *words, **more):
        return common.run([PROGRAM, *words], self.folder, **more)

    def works(self, *words, **more):
        done = self.run_(*words, **more)
        self.assertEqual(done.returncode, 0, done.stderr)
        return done

    def refuses(self, text, *words, code=4, **more):
        done = self.run_(*words, **more)
        self.assertEqual(done.returncode, code, done.stderr)
        self.assertEqual(done.stderr.count(b"forewarm: error: "), 1, done.stderr)
        self.assertIn(text, done.stderr.decode())
        return done

    def clean(self, folder=None):
        folder = folder or self.folder
        self.assertEqual([n for n in os.listdir(folder) if ".fw-tmp-" in n], [])
        self.assertEqual(os.listdir(self.folder / "tmp"), [])

    def holds(self, path, data):
        self.assertTrue(common.content(path) == data, f"{path} holds other bytes")

    def all_or_nothing(self, text, done, path, old, new):
        """The new bytes and exit 0, or the old ones and one error that says why. True if new."""
        if done.returncode == 0:
            self.holds(path, new)
            return True
        self.assertEqual(done.returncode, 4, done.stderr)
        self.assertEqual(done.stderr.count(b"forewarm: error: "), 1, done.stderr)
        self.assertIn(text, done.stderr.decode())
        self.holds(path, old)
        return False

    # What is done to which file: words, the file, its bytes before and after, and the job's.
    def each_way(self, folder):
        job, out = folder / "job.gcode", folder / "out.gcode"
        yield [*self.rewrite, job], job, JOB, self.new, JOB
        yield ["restore", job], job, self.new, JOB, self.new
        yield [*self.rewrite, job, "-o", out], out, None, self.new, JOB
        yield [*self.rewrite, job, "-o", out], out, b"; an old trail\n", self.new, JOB

    @staticmethod
    def furnish(path, old, job):
        (path.parent / "job.gcode").write_bytes(job)
        path.unlink(missing_ok=True)
        if old is not None:
            path.write_bytes(old)


@unittest.skipUnless(OWN_MOUNTS in os.environ, "no mounts of one's own: not root, or not allowed")
class Mounted(Place):
    def mount(self, *options, on="small"):
        place = self.folder / on
        place.mkdir(exist_ok=True)
        subprocess.run(["mount", *options, place], check=True)
        # Not --lazy: that would hide a file that is still open.
        self.addCleanup(subprocess.run, ["umount", place], check=True)
        return place

    def tmpfs(self, options, on="small"):
        return self.mount("-t", "tmpfs", "-o", options, "none", on=on)

    def test_a_disk_that_fills_up_at_any_page(self):
        pages = 64
        for n, (words, path, old, new, job) in enumerate(self.each_way(pathlib.Path("x"))):
            place = self.tmpfs(f"size={pages * PAGE}", on=f"small{n}")
            words = [place / w.name if isinstance(w, pathlib.Path) and w.parent.name == "x" else w
                     for w in words]
            path = place / path.name
            ballast = place / "ballast"
            need = -(-len(new) // PAGE)
            outcomes = []
            for free in range(need + 2):
                ballast.unlink(missing_ok=True)
                self.furnish(path, old, job)
                with open(ballast, "wb") as file:
                    room = os.statvfs(place).f_bavail
                    file.write(bytes((room - free) * PAGE))
                self.assertEqual(os.statvfs(place).f_bavail, free)
                done = self.run_(*words)
                outcomes.append(self.all_or_nothing("No space left", done, path, old, new))
                self.clean(place)
            self.assertEqual(outcomes, [free >= need for free in range(need + 2)], words)

    def test_no_room_for_the_original_of_a_rewritten_job(self):
        place = self.tmpfs(f"size={4 * PAGE}")
        self.job.write_bytes(self.new)
        words = ["rewrite", "--rules", self.other, self.job]
        small = common.environment(self.folder) | {"TMPDIR": str(place)}
        self.refuses("No space left", *words, env=small)
        self.holds(self.job, self.new)
        self.clean()
        self.assertEqual(os.listdir(place), [])
        self.works(*words)
        self.assertNotEqual(self.job.read_bytes(), self.new)

    def test_no_room_for_another_name(self):
        place = self.tmpfs("nr_inodes=2")  # the folder's own, and the job's
        job = place / "job.gcode"
        job.write_bytes(JOB)
        self.refuses("No space left", *self.rewrite, job)
        self.refuses("No space left", *self.rewrite, self.job, "-o", place / "out.gcode")
        self.holds(job, JOB)
        self.assertEqual(os.listdir(place), ["job.gcode"])
        self.works(*self.rewrite, job, "-o", self.folder / "out.gcode")
        self.holds(self.folder / "out.gcode", self.new)

    def test_a_read_only_file_system(self):
        place = self.tmpfs("size=1m")
        job = place / "job.gcode"
        job.write_bytes(JOB)
        subprocess.run(["mount", "-o", "remount,ro", place], check=True)
        self.refuses("Read-only file system", *self.rewrite, job)
        self.refuses("Read-only file system", *self.rewrite, self.job, "-o", place / "out.gcode")
        self.holds(job, JOB)
        self.assertEqual(os.listdir(place), ["job.gcode"])
        self.works(*self.rewrite, job, "-o", self.folder / "out.gcode")
        self.holds(self.folder / "out.gcode", self.new)

    def test_a_file_that_is_a_mount_point(self):
        behind = self.folder / "behind.gcode"
        behind.write_bytes(JOB)
        subprocess.run(["mount", "--bind", behind, self.job], check=True)
        self.addCleanup(subprocess.run, ["umount", self.job], check=True)
        self.refuses("it may be a mount point", *self.rewrite, self.job)
        self.holds(self.job, JOB)
        self.clean()


class Places(Place):
    def test_the_file_size_limit(self):
        for words, path, old, new, job in self.each_way(self.folder):
            for limit in (0, 1, 511, len(old or b""), len(new) - 1, len(new)):
                self.furnish(path, old, job)

                def limited():
                    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

                done = self.run_(*words, preexec_fn=limited)
                is_new = self.all_or_nothing("File too large", done, path, old, new)
                self.assertEqual(is_new, limit >= len(new), (words, limit))
                self.clean()
                with open(self.folder / "stdout", "wb") as out:
                    done = self.run_("rewrite", "-q", "--rules", self.rules, self.job, "-o", "-",
                                     preexec_fn=limited, stdout=out)
                self.assertEqual(done.returncode, 0 if limit >= len(self.new) else 4)

    def test_devices_that_are_full(self):
        for words in (["--json", "/dev/full"], ["--html", "/dev/full"], ["-o", "/dev/full"]):
            self.refuses("/dev/full: cannot write: No space left", *self.rewrite, self.job, *words)
        with open("/dev/full", "wb") as full:
            # What is on stdout was asked for: without it the job stays as it is.
            done = self.run_(*self.rewrite, "--json", "-", self.job, stdout=full)
            self.assertEqual(done.returncode, 4, done.stderr)
            self.holds(self.job, JOB)
            # Notes were not.
            done = self.run_(*self.rewrite, self.job, stderr=full)
            self.assertEqual(done.returncode, 0)
            self.holds(self.job, self.new)
            self.assertEqual(self.run_("restore", "missing.gcode", stderr=full).returncode, 4)
        self.refuses("/dev/full: cannot write: No space left", "restore", self.job, "-o", "/dev/full")
        self.holds(self.job, self.new)
        self.clean()

    def test_standard_streams_that_are_closed(self):
        # The first file that the program opens must not become one of them, and get its messages.
        for closed in itertools.chain.from_iterable(itertools.combinations("012", n) for n in range(4)):
            ends = " ".join(f"{fd}>&-" for fd in closed)
            script = ["sh", "-c", f'exec "$@" {ends}', "sh", PROGRAM]
            for words, path, old, new, job in self.each_way(self.folder):
                self.furnish(path, old, job)
                done = common.run([*script, *words], self.folder)
                self.assertEqual(done.returncode, 0, (ends, done.stderr))
                self.assertEqual(done.stdout, b"")
                self.holds(path, new)
                self.clean()
            self.furnish(self.job, JOB, JOB)
            for words in ([*self.rewrite, self.job, "-o", self.folder / "no" / "out.gcode"],
                          ["restore", self.job]):
                done = common.run([*script, *words], self.folder)
                self.assertIn(done.returncode, (3, 4))
                self.assertEqual(done.stderr.count(b"forewarm: error: "), 0 if "2" in closed else 1)
                self.holds(self.job, JOB)
                self.clean()
        done = common.run(["sh", "-c", 'exec "$@" <&-', "sh", PROGRAM, *self.rewrite, "-", "-o",
                         "piped.gcode"], self.folder)
        self.assertEqual(done.returncode, 4)
        self.assertIn(b"standard input: cannot read: Bad file descriptor", done.stderr)
        self.assertFalse((self.folder / "piped.gcode").exists())
        self.clean()

    def test_folders_and_files_that_may_not_be_written(self):
        place = self.folder / "closed"
        place.mkdir()
        job, out = place / "job.gcode", place / "out.gcode"
        self.furnish(out, b"; an old trail\n", JOB)
        out.chmod(0o444)
        self.refuses("is read-only", *self.rewrite, job, "-o", out)
        job.chmod(0o666)
        out.chmod(0o666)
        place.chmod(0o555)
        more = {}
        program = self.folder / "forewarm"
        shutil.copy(PROGRAM, program)
        os.mkdir(self.folder / "open", 0o777)
        (self.folder / "open").chmod(0o777)
        if os.geteuid() == 0:  # whom no mode stops
            os.chown(job, NOBODY, NOBODY)
            more = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
        for words in ([*self.rewrite, job], [*self.rewrite, job, "-o", out], ["restore", job],
                      [*self.rewrite, job, "-o", place / "new.gcode"]):
            done = common.run([program, *words], self.folder, **more)
            self.assertEqual(done.returncode, 4)
            self.assertIn(b"cannot write to this folder: Permission denied", done.stderr)
            self.holds(job, JOB)
            self.holds(out, b"; an old trail\n")
            self.assertEqual(sorted(os.listdir(place)), ["job.gcode", "out.gcode"])
        elsewhere = self.folder / "open" / "new.gcode"
        done = common.run([program, *self.rewrite, job, "-o", elsewhere], self.folder, **more)
        self.assertEqual(done.returncode, 0, done.stderr)
        self.holds(elsewhere, self.new)
        place.chmod(0o755)


class Company(Place):
    """Others at work on the same file."""

    def at_once(self, commands):
        """Runs them all from the same moment on: each waits for the same pipe to be closed."""
        ready, go = os.pipe()
        processes = [subprocess.Popen(["sh", "-c", 'read _; exec "$@" </dev/null', "sh", PROGRAM,
                                       *map(str, words)], cwd=self.folder, stdin=ready,
                                      stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                      env=common.environment(self.folder)) for words in commands]
        os.close(ready)
        time.sleep(0.05)
        os.close(go)
        out = []
        for process in processes:
            said = process.communicate(timeout=300)[1].decode()
            out.append((process.returncode, said))
        self.clean()
        return out

    def test_eight_hooks_on_one_file(self):
        for round_ in range(8):
            self.job.write_bytes(JOB)
            for code, said in self.at_once([[*self.rewrite, self.job]] * 8):
                self.assertEqual(code, 0, said)
            self.holds(self.job, self.new)

    def test_hooks_that_undo_each_other(self):
        out = self.folder / "out.gcode"
        for round_ in range(8):
            self.job.write_bytes(JOB)
            for code, said in self.at_once([[*self.rewrite, self.job], ["restore", self.job]] * 4):
                # A restore that comes first has nothing to restore.
                if code != 0:
                    self.assertEqual(code, 3, said)
                    self.assertIn("not a job that forewarm rewrote", said)
            self.assertIn(self.job.read_bytes(), (JOB, self.new))
            # And with an output that does not exist when they begin.
            self.job.write_bytes(JOB)
            out.unlink(missing_ok=True)
            for code, said in self.at_once([[*self.rewrite, self.job, "-o", out]] * 8):
                self.assertEqual(code, 0, said)
            self.holds(out, self.new)

    def test_a_job_that_changes_while_it_is_worked_on(self):
        def append(job):
            with open(job, "ab") as file:
                file.write(b"; one more path\n")

        def overwrite(job):
            with open(job, "r+b") as file:
                file.write(b"; RAISED")

        def cut(job):
            os.truncate(job, 500)

        def replace(job):
            (self.folder / "theirs").write_bytes(JOB)  # the same bytes, but not ours to overwrite
            (self.folder / "theirs").rename(job)

        for change in (append, overwrite, cut, replace, os.unlink):
            for out in (None, self.folder / "out.gcode"):
                with self.subTest(change=change.__name__, out=out is not None):
                    self.meddle(change, out)

    def meddle(self, change, out):
        """The report goes to a pipe that is full, so that the run stops between reading the job and
        writing the new one."""
        self.job.write_bytes(JOB)
        pipe = self.folder / "report"
        pipe.unlink(missing_ok=True)
        os.mkfifo(pipe)
        full = os.open(pipe, os.O_RDWR | os.O_NONBLOCK)
        self.addCleanup(os.close, full)
        try:
            while True:
                os.write(full, b"x" * PAGE)
        except BlockingIOError:
            pass
        words = [*self.rewrite, "--json", pipe, self.job] + (["-o", out] if out else [])
        process = subprocess.Popen([PROGRAM, *map(str, words)], cwd=self.folder,
                                   stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                                   stderr=subprocess.PIPE, env=common.environment(self.folder))

        def has_pipe():
            opened = pathlib.Path(f"/proc/{process.pid}/fd")
            try:
                return str(pipe) in [os.readlink(fd) for fd in opened.iterdir()]
            except OSError:  # closed just now
                return False

        while not has_pipe():
            self.assertIsNone(process.poll())
            time.sleep(0.002)
        time.sleep(0.02)  # a tick of the file system's clock, to tell the times apart
        change(self.job)
        changed = common.content(self.job)
        while process.poll() is None:
            try:
                os.read(full, 1 << 16)
            except BlockingIOError:
                time.sleep(0.001)
        said = process.communicate()[1].decode()
        self.assertEqual(process.returncode, 4, said)
        self.assertRegex(said, r"error: .*job\.gcode: (the file changed while|cannot examine again|"
                               r"the file became shorter while)")
        self.holds(self.job, changed)
        if out:
            self.assertFalse(out.exists())
        self.clean()
        pipe.unlink()


if __name__ == "__main__":
    isolate()
    os.umask(0o022)
    common.signals_as_usual()
    unittest.main(argv=sys.argv[:1])
