#!/usr/bin/env python3
"""The texts hang together: links lead to files and headings that are there, README.md is short, and it or DEVELOPERS.md
leads to every text.

Usage: texts_test.py SOURCE-FOLDER"""
import pathlib
import re
import sys

LONGEST_README = 200


def anchors(path):
    """The names by which headings are linked."""
    headings = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def links(path):
    return re.findall(r"\]\(([^)\s]+)\)", re.sub(r"```.*?```", "", path.read_text(encoding="utf-8"), flags=re.S))


def broken(path):
    for link in links(path):
        if re.match(r"[a-z]+:", link):
            continue
        file, _, anchor = link.partition("#")
        target = (path.parent / file).resolve() if file else path
        if not target.exists():
            yield f"{path}: {link}: no such file"
        elif anchor and anchor not in anchors(target):
            yield f"{path}: {link}: no such heading"


def main():
    top = pathlib.Path(sys.argv[1]).resolve()
    readme = top / "README.md"
    developers = top / "DEVELOPERS.md"
    texts = [*sorted((top / "src").rglob("*.md")), top / "tests/testing.md"]
    assert len(texts) >= 15, texts
    wrong = [said for path in [readme, developers, *texts] for said in broken(path)]
    assert not wrong, "\n".join(wrong)

    lines = len(readme.read_text(encoding="utf-8").splitlines())
    assert lines <= LONGEST_README, f"README.md has {lines} lines"
    led_to = {(top / link.partition("#")[0]).resolve() for link in [*links(readme), *links(developers)]}
    unknown = [str(path.relative_to(top)) for path in texts if path not in led_to]
    assert not unknown, f"neither README.md nor DEVELOPERS.md leads to {unknown}"


if __name__ == "__main__":
    main()
