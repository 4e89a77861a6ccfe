#!/usr/bin/env python3
"""Each section of src/rules/machines.md on a kind of machine has one complete rule file, which is good.

Usage: machines_test.py FOREWARM MACHINES.md"""
import pathlib
import re
import subprocess
import sys
import tempfile

KINDS = ["Plain toolheads", "One toolhead with a feeder", "Several feeders", "Numbered-line hosts over a serial line",
         "Firmware with named commands", "Two independent carriages"]


def check(forewarm, rules):
    """Exit code of `rules check`, and all that it says."""
    with tempfile.NamedTemporaryFile("w", suffix=".toml", encoding="utf-8") as file:
        file.write(rules)
        file.flush()
        done = subprocess.run([forewarm, "rules", "check", file.name], capture_output=True, text=True, stdin=subprocess.DEVNULL)
    return done.returncode, done.stdout + done.stderr


def main():
    forewarm, page = sys.argv[1:]
    text = pathlib.Path(page).read_text(encoding="utf-8")
    sections = re.split(r"^## (.*)\n", text, flags=re.M)
    assert sections[1::2] == KINDS, sections[1::2]
    for kind, section in zip(sections[1::2], sections[2::2]):
        blocks = re.findall(r"^```toml\n(.*?)^```$", section, re.M | re.S)
        assert len(blocks) == 1, f"{kind}: {len(blocks)} rule files"
        code, said = check(forewarm, blocks[0])
        assert code == 0 and said.startswith("good:"), f"{kind}: exit code {code}\n{said}"
        # A rule file that is spoilt would be seen.
        code, said = check(forewarm, blocks[0].replace("power_w", "powr_w"))
        assert code == 2 and "powr_w" in said, f"{kind}, spoilt: exit code {code}\n{said}"
    assert text.count("```toml") == len(KINDS)


if __name__ == "__main__":
    main()
