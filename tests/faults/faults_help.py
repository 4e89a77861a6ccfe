"""What the fault tests share: a small job and a large one, rule files, and how the program is run.

The program and its files are given by absolute paths, so that it can run in any folder."""
import os
import pathlib
import signal
import subprocess
import sys

SKIPPED = 77  # CTest's SKIP_RETURN_CODE
SOURCE = pathlib.Path(__file__).resolve().parents[2]
DEMO = SOURCE / "config" / "demo.toml"

RULES = """version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [1]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
"""
# What else one may want of the same toolheads: another rewrite of the same job.
OTHER_RULES = RULES + '[gap]\npolicy = "hold"\n'


def small_job(comment=0):
    """Two toolheads, 4 uses, some 100 lines. `comment`: bytes of comment between two of them."""
    lines = ["; raised paths of the heron marsh", "G21", "G90", "M83", "M104 T0 S200", "M104 T1 S210"]
    for use in range(4):
        tool = use % 2
        lines += [f"T{tool}", f"M109 T{tool} S{200 + 10 * tool}"]
        lines += [f"G1 X{10 + x} Y{10 + 10 * use} E1 F1200" for x in range(20)]
        lines += ["G4 S120", f"M104 T{tool} S150"]
        if use == 1:
            lines += ["; " + "reed " * 15] * (comment // 77)
    return ("\n".join(lines) + "\n").encode()


def make_job(path, size, *options):
    subprocess.run([sys.executable, SOURCE / "scripts" / "make_job", "--size", str(size), "-o", path,
                    *options], check=True)
    return pathlib.Path(path).read_bytes()


def environment(folder):
    """Nothing of the user's: no rule file of theirs, and temporary files where they are seen."""
    (folder / "tmp").mkdir(exist_ok=True)
    # Neither works in a process that is traced or short of memory.
    options = "detect_leaks=0:" + os.environ.get("ASAN_OPTIONS", "")
    return {"PATH": os.environ["PATH"], "HOME": str(folder / "tmp"), "TMPDIR": str(folder / "tmp"),
            "ASAN_OPTIONS": options, "LC_ALL": "C"}


def run(command, folder, **more):
    more.setdefault("stdin", subprocess.DEVNULL)
    more.setdefault("stdout", subprocess.PIPE)
    more.setdefault("stderr", subprocess.PIPE)
    if "env" not in more:
        more["env"] = environment(folder)
    return subprocess.run([str(word) for word in command], cwd=folder, timeout=300, **more)


def litter(folder):
    """Temporary files that were left, beside the job, in folders below, and in $TMPDIR."""
    return [str(path.relative_to(folder)) for path in sorted(folder.rglob("*"))
            if ".fw-tmp-" in path.name or path.parent == folder / "tmp"]


def sweep(folder):
    for name in litter(folder):
        os.unlink(folder / name)


def content(path):
    """None if it does not exist."""
    try:
        return pathlib.Path(path).read_bytes()
    except FileNotFoundError:
        return None


def signals_as_usual():
    """A parent that ignores a signal passes that on, and the program keeps it so; but here it has
    to end by them. A handler of ours is not passed on."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        if signal.getsignal(number) == signal.SIG_IGN:
            signal.signal(number, signal.SIG_DFL)
