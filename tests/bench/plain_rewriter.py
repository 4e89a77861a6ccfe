#!/usr/bin/env python3
"""What one would write in an afternoon: before each change, so many seconds ahead, the next tool's heater is turned on.

Usage: plain_rewriter.py [--ahead SECONDS] JOB OUT

One regular expression a line, time by length and feed alone, no acceleration, no machine, no plan. It is here to be
measured against, and for nothing else."""
import argparse
import array
import math
import re

LINE = re.compile(rb"^(?:(?P<move>G[0123])\b|(?P<dwell>G4)\b|T(?P<tool>\d+)\s*(?:;|$)"
                  rb"|M10[49]\s(?:T(?P<of>\d+)\s+)?S(?P<temp>[\d.]+))")
WORD = re.compile(rb"([XYZEFPS])(-?[\d.]+)")
MARK = b" ; plain preheat\n"


def read(path):
    """Seconds at the start of each line, and (line, tool) of each change."""
    starts, changes, temps = array.array("d"), [], {}
    place, feed, now, tool = {b"X": 0.0, b"Y": 0.0, b"Z": 0.0}, 25.0, 0.0, None
    with open(path, "rb") as job:
        for number, line in enumerate(job):
            starts.append(now)
            found = LINE.match(line)
            if not found:
                continue
            if found["move"]:
                words = dict(WORD.findall(line.split(b";")[0]))
                feed = float(words[b"F"]) / 60 if b"F" in words else feed
                to = {axis: float(words.get(axis, at)) for axis, at in place.items()}
                length = math.dist(to.values(), place.values()) or abs(float(words.get(b"E", 0)))
                place, now = to, now + length / max(feed, 0.01)
            elif found["dwell"]:
                words = dict(WORD.findall(line))
                now += float(words.get(b"S", 0)) + float(words.get(b"P", 0)) / 1000
            elif found["tool"] is not None:
                if tool is not None and int(found["tool"]) != tool:
                    changes.append((number, int(found["tool"])))
                tool = int(found["tool"])
            elif found["temp"]:
                temps[int(found["of"]) if found["of"] is not None else tool] = found["temp"]
    return starts, changes, temps


def rewrite(path, out_path, ahead):
    starts, changes, temps = read(path)
    wanted, at = [], 0
    for number, tool in changes:
        while at < number and starts[at] < starts[number] - ahead:
            at += 1
        if tool in temps:
            wanted.append((at, b"M104 T%d S%s%s" % (tool, temps[tool], MARK)))
    wanted.reverse()
    with open(path, "rb") as job, open(out_path, "wb") as out:
        for number, line in enumerate(job):
            while wanted and wanted[-1][0] == number:
                out.write(wanted.pop()[1])
            out.write(line)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--ahead", type=float, default=60, metavar="SECONDS")
    a.add_argument("job")
    a.add_argument("out")
    o = a.parse_args()
    rewrite(o.job, o.out, o.ahead)


if __name__ == "__main__":
    main()
