#!/usr/bin/env python3
"""The examples of documents run as they are printed: README.md and the like, manual pages, and what --help says.

A document's examples are its indented or fenced blocks. Of a block, these are commands:
  - lines that begin with "$ ": the block shows its output, and what follows up to the next command is what it has to
    print, on either stream. A line of "…" or "..." stands for any number of lines, and at the end of a line for the
    rest of it;
  - else, every line, if one of them begins with "forewarm ", or has it behind a pipe: they have to end well.
All commands of a block run in a scratch folder of their own that has what examples speak of (see Scratch), with that
folder as home. In it job.gcode is a job, or its rewrite where a command reads one (check, restore ...): before the
first command of a block that shows its output, and before each command of any other block, which may show several ways
to use one job. Other blocks are not commands, or are not run: lines of a job, rules, what builds or installs. A comment
<!-- not run: WHY --> above a block leaves it out, too. A command ends well with exit code 0; with 1, if it compares or
checks.

Usage: examples_test.py [--list] [--least N] FOREWARM SIMULATED-MACHINE SOURCE-FOLDER DOCUMENT...
The document "help" stands for every example of --help, a folder for the manual pages in it. With --list, says what is
run. Fails if fewer than N commands are found."""
import argparse
import os
import pathlib
import re
import shlex
import shutil
import subprocess
import sys
import tempfile

COMPARES = {"check", "diff", "review"}      # exit code 1 says what they found
READS_REWRITTEN = {"check", "restore", "review"}
NOT_RUN = re.compile(r"<!-- not run: \S.* -->")
ANY = ("…", "...")


def blocks_of_markdown(text):
    """(line number, not run, lines) of each indented or fenced block."""
    block, began, fence, skipped, last = [], 0, None, False, ""
    for number, line in enumerate([*text.splitlines(), "end"], 1):
        if fence is not None:
            if line.strip().startswith(fence):
                yield began, skipped, block
                block, fence, skipped = [], None, False
            else:
                block.append(line)
            continue
        indented = line.startswith("    ") and (block or not last.strip() or NOT_RUN.search(last))
        if indented or (block and not line.strip()):
            began = began if block else number
            block.append(line[4:])
        elif block:
            yield began, skipped, block
            block, skipped = [], False
        opened = re.match(r" {0,3}(```+|~~~+)", line)
        if opened:
            fence, began = opened[1], number + 1
        elif NOT_RUN.search(line):
            skipped = True
        elif line.strip() and not indented:
            skipped = False
        last = line


def blocks_of_manual(text):
    """Likewise of a manual page: displays, and literal lines of their own."""
    plain = lambda line: re.sub(r"\\[&e]", lambda of: {"&": "", "e": "\\"}[of[0][1]], line).replace("\\-", "-").replace("\\(aq", "'")
    block, section = None, ""
    for number, line in enumerate(text.splitlines(), 1):
        if line.startswith(".Sh "):
            section = line[4:]
        elif section == "SYNOPSIS":
            continue  # says what there may be
        elif re.match(r"\.(Bd\b.*-(literal|unfilled)|nf|EX)", line):
            block, began = [], number + 1
        elif re.match(r"\.(Ed|fi|EE)", line) and block is not None:
            yield began, False, block
            block = None
        elif line.startswith(".Dl "):
            yield number, False, [plain(line[4:])]
        elif block is not None:
            block.append(plain(line))


def blocks_of_help(forewarm):
    said = lambda *words: subprocess.run([forewarm, *words, "--help"], capture_output=True, text=True, check=True).stdout

    def walk(words):
        text = said(*words)
        for number, line in enumerate(text.splitlines(), 1):
            if example := re.match(r"\s*Examples?: *(forewarm .*)", line):
                yield " ".join(["forewarm", *words, "--help"]), number, [example[1]]
        listed = text.partition("Subcommands:")[2]
        for name in re.findall(r"^  ([a-z]\S*)", listed, re.M):
            if name != "help":
                yield from walk([*words, name])
    yield from walk([])


def commands_of(lines):
    """[(command, what it prints or None)], empty where the block is none of commands."""
    joined = "\n".join(lines).replace("\\\n", " ").splitlines()
    if any(line.startswith("$ ") for line in joined):
        found = []
        for line in joined:
            if line.startswith("$ "):
                found.append((line[2:], []))
            elif found:
                found[-1][1].append(line)
        return found
    if any(re.match(r"forewarm |.*\| *forewarm ", line) for line in joined):
        return [(line, None) for line in joined if line.strip()]
    return []


def subcommands(command):
    try:
        words = shlex.split(command, comments=True)
    except ValueError:
        return set()
    return {after for word, after in zip(words, words[1:]) if word == "forewarm"}


def as_printed(expected, printed):
    """Whether what was printed is what the document says."""
    want = [line.rstrip() for line in expected]
    while want and not want[-1]:
        want.pop()
    if not want:
        return True  # says nothing of it
    pattern = ""
    for line in want:
        if line.strip() in ANY:
            pattern += r"(?:[^\n]*\n)*"
        elif line.endswith(ANY):
            pattern += re.escape(line.rstrip(".… ")) + r"[^\n]*\n"
        else:
            pattern += re.escape(line) + r"[ \t]*\n"
    return re.fullmatch(pattern, printed.rstrip("\n") + "\n") is not None


class Scratch:
    """What examples speak of: jobs and their rewrites, a rule file, records of them, and a table of purges."""

    def __init__(self, forewarm, player, source, folder):
        self.folder, self.source, self.player = folder, source, player
        self.path = f"{folder}/bin:{os.environ['PATH']}"
        (folder / "bin").mkdir()
        (folder / "bin/forewarm").symlink_to(forewarm)
        self.home = folder / "made"
        (self.home / ".config/forewarm").mkdir(parents=True)
        for name in ("machine.toml", "five-toolheads.toml", "rules.toml", "r.toml", ".config/forewarm/rules.toml"):
            shutil.copy(source / "config/demo.toml", self.home / name)
        job = source / "fixtures/trail_map.gcode"
        for name in ("job.gcode", "a-job.gcode", "original.gcode", "jobs/monday.gcode", "jobs/friday.gcode", "archive/old.gcode"):
            (self.home / name).parent.mkdir(exist_ok=True)
            shutil.copy(job, self.home / name)
        tools = [f"T{n}" for n in range(7)]
        rows = [",".join([row, *("" if row == column else "80" for column in tools)]) for row in tools]
        (self.home / "purge.csv").write_text("\n".join([",".join(["mm3", *tools]), *rows, ""]))
        self.call("forewarm rewrite -q -o rewritten.gcode job.gcode")
        self.has_records = False

    def make_records(self):
        self.has_records = True
        self.call("forewarm calibrate -q --rules machine.toml --make-job measure.gcode")
        machine = subprocess.run([self.source / "tests/simulated/machine_of_rules.py", self.home / "machine.toml"], capture_output=True, check=True)
        (self.home / "machine.json").write_bytes(machine.stdout)
        play = shlex.quote(self.player) + " --machine machine.json"
        self.call(f"{play} --record print.log --csv heat-up.csv measure.gcode")
        for seed, name in enumerate(("host", "monday", "friday"), 1):
            self.call(f"{play} --seed {seed} --record {name}.log rewritten.gcode")

    def environment(self, home):
        kept = {name: os.environ[name] for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LD_LIBRARY_PATH") if name in os.environ}
        return {"PATH": self.path, "HOME": str(home), "LC_ALL": "C.UTF-8", "TZ": "UTC", **kept}

    def run(self, command, folder):
        return subprocess.run(["bash", "-o", "pipefail", "-c", command], cwd=folder, env=self.environment(folder), timeout=300,
                              stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, errors="replace")

    def call(self, command):
        done = self.run(command, self.home)
        assert done.returncode == 0, f"{command}: exit code {done.returncode}\n{done.stdout}"

    def copy(self, commands):
        if not self.has_records and any(re.search(r"\.log\b|heat-up\.csv", command) for command, _ in commands):
            self.make_records()
        folder = self.folder / "block"
        shutil.copytree(self.home, folder)
        return folder


def run_block(scratch, where, commands, say):
    """The number of commands that did not do what the document says."""
    folder = scratch.copy(commands)
    shows_output = commands[0][1] is not None
    wrong = 0
    for number, (command, expected) in enumerate(commands):
        if not shows_output or number == 0:
            reads = subcommands(command) & READS_REWRITTEN
            shutil.copy(scratch.home / ("rewritten.gcode" if reads else "original.gcode"), folder / "job.gcode")
        done = scratch.run(command, folder)
        good = done.returncode == 0 or done.returncode == 1 and (subcommands(command) & COMPARES or " --diff" in command)
        if not good:
            print(f"{where}: {command}\n    exit code {done.returncode}\n    " + "\n    ".join(done.stdout.splitlines()[-12:]))
        elif expected is not None and not as_printed(expected, done.stdout):
            good = False
            print(f"{where}: {command}\n  prints\n    " + "\n    ".join(done.stdout.splitlines()) +
                  "\n  and not\n    " + "\n    ".join(expected))
        say(f"{where}: {'good' if good else 'WRONG'}: {command}")
        wrong += not good
    shutil.rmtree(folder)
    return wrong


def blocks_of(document, forewarm):
    if document == "help":
        yield from ((where, number, False, lines) for where, number, lines in blocks_of_help(forewarm))
        return
    path = pathlib.Path(document)
    if path.is_dir():
        for page in sorted(path.glob("*.[1-9]")):
            yield from blocks_of(page, forewarm)
        return
    reader = blocks_of_manual if re.fullmatch(r"\.\d", path.suffix) else blocks_of_markdown
    for number, skipped, lines in reader(path.read_text(encoding="utf-8")):
        yield path.name, number, skipped, lines


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--list", action="store_true")
    p.add_argument("--least", type=int, default=1)
    p.add_argument("forewarm")
    p.add_argument("player")
    p.add_argument("source", type=lambda name: pathlib.Path(name).resolve())
    p.add_argument("documents", nargs="+")
    o = p.parse_args()
    forewarm, player = os.path.abspath(o.forewarm), os.path.abspath(o.player)
    ran = wrong = 0
    with tempfile.TemporaryDirectory(prefix="forewarm-examples-") as name:
        scratch = Scratch(forewarm, player, o.source, pathlib.Path(name))
        for document in o.documents:
            for where, number, skipped, lines in blocks_of(document, forewarm):
                commands = commands_of(lines)
                if not commands or skipped:
                    continue
                wrong += run_block(scratch, f"{where}:{number}", commands, print if o.list else lambda _: None)
                ran += len(commands)
    print(f"{ran} commands, {wrong} of them wrong")
    if ran < o.least:
        print(f"fewer than {o.least}: the examples are not found")
    return 1 if wrong or ran < o.least else 0


if __name__ == "__main__":
    sys.exit(main())
