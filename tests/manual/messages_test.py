#!/usr/bin/env python3
"""Each message that src/cli/troubleshooting.md quotes is one of the program's, and it has every finding.

A quoted message is what stands in backquotes in a heading. Its constant parts, between the ellipses, must all stand in
string literals of one source.

Usage: messages_test.py SOURCE-FOLDER"""
import pathlib
import re
import sys

LITERAL = r'"((?:[^"\\\n]|\\.)*)"'


def literals_of(text):
    """The string literals of a source, those that the compiler joins being one."""
    text = re.sub(r"^\s*(?://|#include).*$", "", text, flags=re.M)
    out = []
    for joined in re.finditer(rf"{LITERAL}(?:\s*{LITERAL})*", text):
        pieces = [m[1] for m in re.finditer(LITERAL, joined[0])]
        out.append("".join(pieces).replace('\\"', '"').replace("\\\\", "\\"))
    return out


def parts_of(message):
    """What stands between placeholders, each of at least one word."""
    return [part.strip() for part in message.split("…") if re.search(r"\w", part)]


def is_said(message, sources):
    parts = parts_of(message)
    return bool(parts) and any(all(any(part in literal for literal in literals) for part in parts) for literals in sources)


def main():
    top = pathlib.Path(sys.argv[1])
    page = (top / "src/cli/troubleshooting.md").read_text(encoding="utf-8")
    sources = [literals_of(path.read_text(encoding="utf-8")) for path in sorted((top / "src").rglob("*.cpp"))]

    assert is_said("no toolhead serves T…", sources)
    assert not is_said("no toolhead ever serves T…", sources)
    assert not is_said("…", sources)

    quoted = [message for heading in re.findall(r"^### (.*)$", page, re.M) for message in re.findall(r"`([^`]+)`", heading)]
    assert len(quoted) >= 40, len(quoted)
    wrong = [message for message in quoted if not is_said(message, sources)]
    assert not wrong, "not said by the program:\n  " + "\n  ".join(wrong)

    findings = re.findall(r'\{Id::\w+,\s*"([a-z-]+)"', (top / "src/check/finding.cpp").read_text(encoding="utf-8"))
    listed = re.findall(r"`([a-z-]+)`", "".join(re.findall(r"^\| (`[a-z-]+`.*?) \|", page, re.M)))
    assert len(findings) > 40 and sorted(listed) == sorted(findings), sorted(set(listed) ^ set(findings))
    print(f"{len(quoted)} messages, {len(findings)} findings")


if __name__ == "__main__":
    main()
