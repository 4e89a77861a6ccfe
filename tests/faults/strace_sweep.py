#!/usr/bin/env python3
"""Lets system calls of the real program fail, one at a time, and looks at what is left.

strace makes call number K of one kind fail with one error, or sends a signal on it, for every kind
and every K that the program gets to in its own code. Whatever happens, the file must hold the old bytes or the
new ones, whole: the new ones if the program says so by exit 0, and only then. A run that fails says
why. Nothing else may lie about, but after a SIGKILL.

Usage: strace_sweep.py FOREWARM [--show] [--only SCENARIO]
Exit 77 where strace cannot be used."""
import argparse
import collections
import concurrent.futures
import os
import pathlib
import re
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import threading
import time

import faults_help as common

parser = argparse.ArgumentParser(description=__doc__.partition("Usage")[0],
                                 formatter_class=argparse.RawDescriptionHelpFormatter)
parser.add_argument("program", type=os.path.abspath)
parser.add_argument("--show", action="store_true", help="each run, with its outcome")
parser.add_argument("--only", default="", help="scenarios whose name begins so")
OPTIONS = parser.parse_args()
PROGRAM = OPTIONS.program
WORKERS = 2

# Calls that can fail for reasons outside the program.
FALLIBLE = set("""access close copy_file_range dup3 faccessat faccessat2 fadvise64 fallocate fchmod
    fchown fcntl fdatasync fgetxattr flistxattr flock fremovexattr fsetxattr fstat fsync ftruncate
    getcwd getrandom ioctl link linkat lseek lstat mkdir mkdirat newfstatat open openat pread64 pwrite64 pwritev
    read readlink readlinkat readv rename renameat renameat2 sendfile stat statfs statx sync_file_range
    unlink unlinkat write writev""".split())
ERRORS = ("EIO", "ENOSPC", "EINTR")
SIGNALS = ("KILL", "TERM")
# An interruption is no reason to give up here. Elsewhere the calls are never interrupted on Linux,
# or may not be repeated: fsync, since what a failed one lost is taken for written by the next; close,
# since the descriptor is gone.
RESTARTED = {"write", "openat", "flock", "read", "pread64", "copy_file_range", "getrandom"}
# The first call of the program's own code; all before is the loader's, or the sanitizers'.
FIRST_CALL = re.compile(r"fcntl\(0, F_GETFD\)")
# usage or rules, refused, io: an honest exit code. 70 would be a bug.
HONEST = {2, 3, 4}

_NOBODY = 65534
_ACL = "system.posix_acl_access"
# Version 2; owner rwx, user 1234 rw-, group r--, mask rw-, others ---.
_DEFAULT_ACL = bytes([2, 0, 0, 0, 1, 0, 7, 0] + [255] * 4 + [2, 0, 6, 0, 0xd2, 4, 0, 0] +
                     [4, 0, 4, 0] + [255] * 4 + [16, 0, 6, 0] + [255] * 4 + [32, 0, 0, 0] + [255] * 4)


def attributes(path):
    found = os.stat(path)
    names = os.listxattr(path)
    return (stat.S_IMODE(found.st_mode), found.st_uid, found.st_gid,
            {name: os.getxattr(path, name) for name in names})


class Scenario:
    """A command, the file that it writes, and what that holds before and after."""

    def __init__(self, name, command, target, files, new, at_once=1, holds_term=False):
        self.name, self.command, self.target, self.files, self.new = name, command, target, files, new
        self.at_once = at_once  # temporary files, at most
        self.holds_term = holds_term  # from the rename on, SIGTERM changes nothing any more
        self.old = files.get(target)
        # What comes between the last byte and the rename: a new file is not waited for.
        self.last_call = "close" if self.old is None else "fsync"

    def furnish(self, folder):
        """Another's file, with a mode, an attribute and no access list, in a folder that gives new
        files one: all that has to be kept, as far as the system and its user can."""
        for name in os.listdir(folder):
            if (folder / name).is_file():
                (folder / name).unlink()
            elif name != "tmp":
                shutil.rmtree(folder / name)
        try:
            os.removexattr(folder, "system.posix_acl_default")
        except OSError:
            pass
        for name, data in self.files.items():
            (folder / name).write_bytes(data)
        if self.old is None:
            return None
        target = folder / self.target
        target.chmod(0o646)
        if os.geteuid() == 0:
            os.chown(target, _NOBODY, _NOBODY)
        for path, name, value in ((target, "user.trail", b"heath"),
                                  (folder, "system.posix_acl_default", _DEFAULT_ACL)):
            try:
                os.setxattr(path, name, value)
            except OSError:
                pass  # not every file system has them
        return attributes(target)


def scenarios(folder):
    job = common.small_job()
    long = common.small_job(comment=300_000)
    (folder / "rules.toml").write_text(common.RULES)
    (folder / "other.toml").write_text(common.OTHER_RULES)
    files = {"rules.toml": common.RULES.encode(), "other.toml": common.OTHER_RULES.encode()}

    def rewritten(data, rules):
        (folder / "job.gcode").write_bytes(data)
        done = common.run([PROGRAM, "rewrite", "-q", "--rules", rules, "job.gcode", "-o", "-"], folder)
        if done.returncode != 0 or done.stdout == data:
            sys.exit(f"strace_sweep: no rewrite: {done.stderr.decode()}")
        return done.stdout

    new = rewritten(job, "rules.toml")
    other = rewritten(job, "other.toml")
    assert other != new
    rewrite = ["rewrite", "--rules", "rules.toml", "job.gcode"]
    return [
        Scenario("rewrite in place", rewrite, "job.gcode", files | {"job.gcode": job}, new),
        Scenario("rewrite -o NEW", rewrite + ["-o", "new.gcode"], "new.gcode",
                 files | {"job.gcode": job}, new),
        Scenario("rewrite -o EXISTING", rewrite + ["-o", "new.gcode"], "new.gcode",
                 files | {"job.gcode": job, "new.gcode": b"; another trail\n" * 300}, new),
        Scenario("restore in place", ["restore", "job.gcode"], "job.gcode",
                 files | {"job.gcode": new}, job),
        # These take ways of their own: a spooled original, a copy within the kernel.
        Scenario("rewrite again", ["rewrite", "--rules", "other.toml", "job.gcode"], "job.gcode",
                 files | {"job.gcode": new}, other),
        Scenario("rewrite, long spans", rewrite, "job.gcode",
                 files | {"job.gcode": long}, rewritten(long, "rules.toml")),
        # Its page and the job are written at the same time; the job is read again before it is put in place.
        Scenario("hook", ["rewrite", "--hook", "--rules", "rules.toml", "--reports", "pages/here", "job.gcode"],
                 "job.gcode", files | {"job.gcode": job}, new, at_once=2, holds_term=True),
        Scenario("hook again, its page there", ["rewrite", "--hook", "--rules", "other.toml", "job.gcode"],
                 "job.gcode", files | {"job.gcode": new, "job.gcode.html": b""}, other, at_once=2, holds_term=True),
    ]


def strace(folder, injections, command):
    """The outcome, and what strace saw of the calls that were injected into."""
    log = folder / "tmp" / "strace.log"
    words = ["strace", "-f", "-o", str(log)]
    if injections:
        calls = ",".join(sorted({i.split(":")[0] for i in injections}))
        words += ["-e", "trace=" + calls]
        for injection in injections:
            words += ["-e", "inject=" + injection]
        # Faster; but a call is not stopped early enough then for a signal.
        if not any("signal=" in i for i in injections):
            words.append("--seccomp-bpf")
    done = common.run(words + ["--", PROGRAM, *command], folder)
    seen = log.read_text(errors="replace")
    log.unlink()
    return done, seen


def usable():
    if shutil.which("strace") is None:
        return "there is no strace"
    with tempfile.TemporaryDirectory() as name:
        probe = subprocess.run(["strace", "-f", "-o", name + "/log", "-e", "inject=chdir:error=EIO",
                                "sh", "-c", "cd /"], capture_output=True, text=True)
        log = pathlib.Path(name + "/log")
        if not log.exists() or "(INJECTED)" not in log.read_text():
            return "strace cannot trace or inject here: " + probe.stderr.strip()
    return None


class Tally:
    def __init__(self):
        self.lock = threading.Lock()
        self.injected = collections.Counter()
        self.survived = collections.Counter()
        self.left = collections.Counter()
        self.wrong = []


def judge(scenario, before, folder, done, injections, fault):
    """What is wrong, and whether the new bytes are there."""
    calls = [i.split(":")[0] for i in injections]
    wrong = []
    code = done.returncode
    now = common.content(folder / scenario.target)
    is_new = now == scenario.new
    if not is_new and now != scenario.old:
        size = "is gone" if now is None else f"holds {len(now)} other bytes"
        wrong.append(f"{scenario.target} {size}")
    for name, data in scenario.files.items():
        if name != scenario.target and data and common.content(folder / name) != data:
            wrong.append(f"{name} was changed")
    left = common.litter(folder)
    killed = fault in SIGNALS and code == -signal.Signals["SIG" + fault]
    if fault in SIGNALS and code not in (0, -signal.Signals["SIG" + fault]):
        wrong.append(f"exit {code}, neither done nor ended by the signal")
    if not killed:
        if (code == 0) != is_new:
            wrong.append(f"exit {code}, and the file is {'new' if is_new else 'old'}")
        if code != 0 and code not in HONEST:
            wrong.append(f"exit {code}")
        said = done.stderr.decode(errors="replace")
        if code != 0 and said.count("forewarm: error: ") != 1 and "write" not in calls:
            wrong.append(f"exit {code}, and not one error said")
        if fault == "EINTR" and calls[0] in RESTARTED and code != 0:
            wrong.append("an interrupted call was not made again")
        if calls == ["fsync"] and "cannot write to disk" not in said and code != 0:
            wrong.append("a failed fsync was not said to be one")
        # A page can be made again: its folder, synced where a page was there before, is not worth one.
        of_page = "job.gcode.html" in scenario.files and ":when=3" in injections[0]
        if calls == ["fsync"] and fault not in SIGNALS and code == 0 and "power cut" not in said and not of_page:
            wrong.append("a folder that was not synced is not worth a warning")
    # What cannot be removed stays; but after a SIGKILL, one file at most.
    if len(left) > (scenario.at_once if fault == "KILL" else "unlink" in calls):
        wrong.append(f"left lying about: {left}")
    if is_new and before is not None and scenario.new is not None:
        got = attributes(folder / scenario.target)
        mode, uid, gid, extra = before
        if got[2] != gid and "fchown" in calls:
            # Another group gets of the rights no more than everybody has.
            mode, gid = mode & (~0o070 | (mode & 0o007) << 3), got[2]
        if got != (mode, uid, gid, extra):
            wrong.append(f"owner, mode and attributes were {before}, and are {got}")
    return wrong, is_new


def own_calls(folder, scenario):
    """The calls that the program makes in its own code: of each kind, the numbers K."""
    scenario.furnish(folder)
    done, seen = strace(folder, [], scenario.command)
    if done.returncode != 0 or common.content(folder / scenario.target) != scenario.new:
        sys.exit(f"strace_sweep: {scenario.name}: does not work without a fault: {done.stderr.decode()}")
    numbers, count, begun, pipes = {}, collections.Counter(), False, set()
    for line in seen.splitlines():
        begun = begun or bool(FIRST_CALL.search(line))
        match = re.match(r"\d+ +(\w+)\((\d*)", line)
        if not match:
            continue
        call, fd = match.groups()
        count[call] += 1
        # The program makes no pipes. The sanitizers do, to see by a write whether memory can be read.
        made = re.match(r"\d+ +pipe2\(\[(\d+), (\d+)\]", line)
        if made:
            pipes.update(made.groups())
        elif fd in pipes and call in ("write", "close"):
            if call == "close":
                pipes.discard(fd)
        elif begun:
            numbers.setdefault(call, []).append(count[call])
    if not begun:
        sys.exit("strace_sweep: the program's first call of its own is not what it was")
    return numbers


def one(local, tally, scenario, injections, fault):
    folder = local.folder
    before = scenario.furnish(folder)
    done, seen = strace(folder, injections, scenario.command)
    calls = [i.split(":")[0] for i in injections]
    if fault in SIGNALS:
        reached = done.returncode == -signal.Signals["SIG" + fault]
    else:
        reached = seen.count("(INJECTED)") == len(injections)
    wrong, is_new = judge(scenario, before, folder, done, injections, fault)
    # Held, a signal leaves no trace but that the job is done.
    reached = reached or (scenario.holds_term and fault == "TERM" and done.returncode == 0 and is_new)
    if not reached:
        wrong.append("the call was not reached")
    left = common.litter(folder)
    common.sweep(folder)
    with tally.lock:
        key = ("+".join(calls), fault)
        tally.injected[key] += reached
        tally.survived[key] += reached and done.returncode == 0
        if fault in SIGNALS:
            tally.left[fault, "new" if is_new else "old"] += 1
            tally.left[fault, "litter"] += len(left)
        for what in wrong:
            tally.wrong.append(f"{scenario.name}, {' '.join(injections)}: {what}\n"
                               f"    {done.stderr.decode(errors='replace').strip()}")
        if OPTIONS.show:
            print(f"{scenario.name}: {' '.join(injections)}: exit {done.returncode}, "
                  f"{'new' if is_new else 'old'}", flush=True)


def changed_midway(local, tally, scenario):
    """Somebody else writes to the job when it has been read, and before the new one is put in place:
    the run is refused, and what they wrote stays."""
    folder = local.folder
    changed = b"; somebody else's trail\n"
    for wait_s in (0.3, 1, 3, 10):
        scenario.furnish(folder)
        slow = f"inject={scenario.last_call}:delay_enter={int(wait_s * 1e6)}"
        if scenario.last_call == "fsync":
            slow += ":when=1"
        words = ["strace", "-f", "-o", "/dev/null", "-e", "trace=" + scenario.last_call, "-e", slow, "--", PROGRAM,
                 *scenario.command]
        process = subprocess.Popen(words, cwd=folder, env=common.environment(folder),
                                   stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)

        def waiting():  # all is read and written, only the last call is still to come
            return [n for n in common.litter(folder)
                    if os.stat(folder / n).st_size == len(scenario.new)]

        in_time = False
        try:
            while process.poll() is None and not waiting():
                time.sleep(0.002)
            time.sleep(0.02)  # a tick of the file system's clock, to tell the times apart
            (folder / "job.gcode").write_bytes(changed)
            in_time = bool(waiting())
        except FileNotFoundError:
            pass  # renamed under our eyes
        said = process.communicate(timeout=300)[1].decode()
        if not in_time:
            continue
        expected = changed if scenario.target == "job.gcode" else scenario.old
        found = common.content(folder / scenario.target)
        ok = (process.returncode == 4 and "the file changed while" in said and found == expected and
              common.content(folder / "job.gcode") == changed and not common.litter(folder))
        if not ok:
            tally.wrong.append(f"{scenario.name}, changed meanwhile: exit {process.returncode}: {said}")
        return
    tally.wrong.append(f"{scenario.name}: was never slow enough to be changed meanwhile")


def signals_of(instrumented):
    # A killed process reports nothing: under sanitizers it would show no more than as released.
    return tuple(s for s in SIGNALS if not (instrumented and s == "KILL"))


def faults_of(call, instrumented):
    if call in FALLIBLE:
        return ERRORS + signals_of(instrumented)
    if call == "exit_group" and not instrumented:
        return ("KILL",)
    # Not brk: its failure is no error number, and cannot be injected. The sanitizers end a program
    # that is out of memory.
    if call == "mmap" and not instrumented:
        return ("ENOMEM", "KILL")
    return ()


def table(tally):
    kinds = ERRORS + ("ENOMEM",) + SIGNALS
    print(f"{'injected/survived':24}" + "".join(f"{kind:>12}" for kind in kinds))
    for call in sorted({call for call, _ in tally.injected}):
        row = f"{call:24}"
        for kind in kinds:
            n = tally.injected[call, kind]
            row += f"{f'{n}/{tally.survived[call, kind]}' if n else '':>12}"
        print(row)
    row = f"{'all':24}"
    for kind in kinds:
        n = sum(v for (_, k), v in tally.injected.items() if k == kind)
        s = sum(v for (_, k), v in tally.survived.items() if k == kind)
        row += f"{f'{n}/{s}':>12}"
    print(row)
    for kind in SIGNALS:
        print(f"SIG{kind} left {tally.left[kind, 'old']} old, {tally.left[kind, 'new']} new, "
              f"{tally.left[kind, 'litter']} temporary files")
    print(f"in all {sum(tally.injected.values())} faults injected, "
          f"{sum(tally.survived.values())} of them survived with the job done")


def main():
    why = usable()
    if why:
        print("skipped:", why)
        return common.SKIPPED
    common.signals_as_usual()
    os.umask(0o022)
    tally = Tally()
    instrumented = b"__asan_init" in pathlib.Path(PROGRAM).read_bytes()
    with tempfile.TemporaryDirectory(prefix="forewarm-faults-") as name:
        top = pathlib.Path(name).resolve()
        (top / "first").mkdir()
        (top / "first" / "tmp").mkdir()
        every = scenarios(top / "first")
        local = threading.local()

        def begin():
            local.folder = pathlib.Path(tempfile.mkdtemp(dir=top))
            (local.folder / "tmp").mkdir()

        with concurrent.futures.ThreadPoolExecutor(WORKERS, initializer=begin) as pool:
            work = []
            for scenario in every:
                if not scenario.name.startswith(OPTIONS.only):
                    continue
                calls = own_calls(top / "first", scenario)
                faults = [([call], k, fault) for call, numbers in sorted(calls.items())
                          for fault in faults_of(call, instrumented) for k in numbers]
                # The new file cannot be kept, and then not be removed either.
                kept_by = "rename" if scenario.old is None else "fsync"
                faults += [([kept_by, "unlink"], 1, fault) for fault in ("EIO", "EINTR") + signals_of(instrumented)]
                for names, k, fault in faults:
                    how = f"signal={fault}" if fault in SIGNALS else f"error={fault}"
                    injections = [f"{names[-1]}:{how}:when={k}"]
                    if len(names) > 1:
                        injections.insert(0, f"{names[0]}:error=EIO:when=1")
                    work.append(pool.submit(one, local, tally, scenario, injections, fault))
                work.append(pool.submit(changed_midway, local, tally, scenario))
            for future in work:
                future.result()
    table(tally)
    for what in tally.wrong:
        print("WRONG:", what)
    return 1 if tally.wrong else 0


sys.exit(main())
