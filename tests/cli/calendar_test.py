#!/usr/bin/python3
"""`forecast --ics` as python3-icalendar reads it: how many events, when, and that every text comes back
as what it was; and that the same file is not written anew, but a changed one with a larger SEQUENCE.

It runs by Debian's Python, to which Debian's icalendar belongs. Usage: calendar_test.py FOREWARM
SOURCES. Exit 77, which ctest takes for skipped, without icalendar."""
import datetime
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import unittest

SKIPPED = 77
try:
    import icalendar
except ImportError:
    print("skipped: there is no icalendar; scripts/setup --tests installs it")
    sys.exit(SKIPPED)

PROGRAM, SOURCE = os.path.abspath(sys.argv[1]), pathlib.Path(sys.argv[2]).resolve()
JOB = SOURCE / "fixtures" / "trail_map.gcode"
DEMO = (SOURCE / "config" / "demo.toml").read_text()
START = "2027-03-05T21:30"


def events_of(text):
    calendar = icalendar.Calendar.from_ical(text)
    assert not calendar.errors, calendar.errors
    return [c for c in calendar.walk() if c.name == "VEVENT"]


def toml(text):
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def seconds(clock):
    return datetime.datetime.fromisoformat(clock)


class Calendar(unittest.TestCase):
    def setUp(self):
        self.folder = pathlib.Path(tempfile.mkdtemp())
        self.addCleanup(shutil.rmtree, self.folder)
        self.name = "job.gcode"
        shutil.copy(JOB, self.folder / self.name)
        (self.folder / "rules.toml").write_text(DEMO)

    def run_(self, *args):
        env = {"PATH": os.environ["PATH"], "HOME": str(self.folder)}
        for name in ("ASAN_OPTIONS", "UBSAN_OPTIONS", "LD_LIBRARY_PATH"):
            if name in os.environ:
                env[name] = os.environ[name]
        return subprocess.run([PROGRAM, "forecast", "-q", "--rules", "rules.toml", *args, "./" + self.name],
                              cwd=self.folder, env=env, capture_output=True, stdin=subprocess.DEVNULL)

    def works(self, *args):
        ran = self.run_(*args)
        self.assertEqual(ran.returncode, 0, ran.stderr.decode())
        return ran.stdout

    def calendar(self, *args):
        return events_of(self.works("--ics", "-", *args).decode())

    def attention(self, *args):
        return json.loads(self.works("--json", "-", *args))["attention"]

    def by_id(self, events):
        out = {str(e["UID"]).rsplit("-", 1)[0]: e for e in events}
        self.assertEqual(len(out), len(events))
        return out

    def test_times_are_those_of_the_figures(self):
        told = 0
        for away in ([], ["22:00-07:00"], ["00:00-02:00", "21:00-23:15"], ["03:00-03:20", "03:20-05:00"],
                     ["21:37-21:38", "21:39-21:42", "21:42-23:00", "23:17-23:18", "23:20-23:22", "05:00-05:04"]):
            args = ["--start", START, *sum((["--away", a] for a in away), [])]
            a, events = self.attention(*args), self.by_id(self.calendar(*args))
            for event in events.values():
                self.assertEqual(event["DTSTAMP"].dt,
                                 seconds(START).replace(tzinfo=event["DTSTAMP"].dt.tzinfo))
                self.assertEqual(event["DTSTAMP"].dt.utcoffset(), datetime.timedelta())
                self.assertIsNone(event["DTSTART"].dt.tzinfo)
            self.check_end(events["end"], a)
            firsts = self.first_of_each_stretch(a, away)
            there = [e["DTSTART"].dt for i, e in events.items() if i.startswith("away-")]
            self.assertEqual(there, firsts)
            told += len(firsts)
        self.assertGreaterEqual(told, 8)

    def test_spools_that_run_out(self):
        args = ["--start", START, *sum((["--set", f"filament.T{t}.spool_g={g}"]
                                        for t, g in ((0, 5), (3, 9), (4, 1000))), [])]
        load = json.loads(self.works("--json", "-", *args))["load"]
        events = self.by_id(self.calendar(*args))
        short = [row for row in load if row["runs_out_s"] is not None]
        self.assertGreater(len(short), 0)
        self.assertEqual(set(events), {"end", *(f"spool-T{row['tool']}" for row in short)})
        for row in short:
            event = events[f"spool-T{row['tool']}"]
            at = seconds(START) + datetime.timedelta(seconds=int(row["runs_out_s"]))
            self.assertEqual(event["DTSTART"].dt, at)
            self.assertIn(f"In layer {row['runs_out_layer']}, line {row['runs_out_line']}: ", str(event["DESCRIPTION"]))
            self.assertIn("runs out", str(event["SUMMARY"]))

    def check_end(self, event, attention):
        self.assertEqual(event["DTSTART"].dt, seconds(attention["end"]))
        self.assertEqual(str(event["SUMMARY"]), self.name + ": done")

    @staticmethod
    def first_of_each_stretch(attention, away):
        """The first exchange of each stretch of minutes in which nobody is there."""
        def is_away(time):
            minute = time.strftime("%H:%M")
            return any(a <= minute < b if a < b else minute >= a or minute < b
                       for a, b in (hours.split("-") for hours in away))

        exchanges = [seconds(e["clock"]) for e in attention["exchanges"]]
        out, minute, told = [], seconds(START), False
        while exchanges and minute <= exchanges[-1]:
            after = minute + datetime.timedelta(minutes=1)
            told = told and is_away(minute)
            within = [e for e in exchanges if minute <= e < after]
            if is_away(minute) and within and not told:
                out.append(within[0])
                told = True
            minute = after
        return out

    def test_lines_as_the_standard_has_them(self):
        text = self.works("--ics", "-", "--start", START, "--away", "22:00-07:00")
        self.assertTrue(text.endswith(b"\r\n"))
        for line in text.split(b"\r\n"):
            self.assertLessEqual(len(line), 75)
            self.assertNotIn(b"\n", line)
            line.decode()  # no character is cut

    def test_a_backslash_before_an_n_is_no_line_break(self):
        # This reader undoes one escape after another: an escaped backslash and an n become a line break, and so
        # on. So the text is read by hand here.
        name = "C:\\new\\N, \\\\n\\, \\;"
        raw = self.works("--ics", "-", "--start", START, "--away", "22:00-07:00",
                         *sum((["--set", f"filament.T{t}.name={toml(name)}"] for t in range(7)), []))
        text = re.search(r"\r\nDESCRIPTION:(.*?)\r\n", raw.replace(b"\r\n ", b"").decode())[1]
        text = re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], text)
        self.assertEqual(text.count(f"({name})"), 2, text)
        self.assertEqual(text.count("\n"), 1)

    def test_hostile_names_come_back(self):
        # A rule file admits no controls; the name of a job may have any.
        names = ["ore, slate; c\\d \"dark\"", "\u00c4\U0001f332" * 20, "x" * 150]
        for name in names:
            set_names = sum((["--set", f"filament.T{t}.name={toml(name)}"] for t in range(7)), [])
            events = self.by_id(self.calendar("--start", START, "--away", "22:00-07:00", *set_names))
            text = str(events["away-1"]["DESCRIPTION"])
            self.assertEqual(text.count(f"({name})"), 2, text)
            self.assertEqual(text.count("\n"), 1)
        for name in ("a, b; c\\d.gcode", "Waldr\u00e4nder \U0001f332\U0001f332" * 8 + ".gcode", "new\nline.gcode",
                     "tab\tand\x07bell\x85\x7f.gcode", "\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:x.gcode"):
            (self.folder / self.name).rename(self.folder / name)
            self.name = name
            # A mark for each byte: those from U+0080 on have two.
            shown = re.sub(r"[\x00-\x1f\x7f-\x9f]", lambda m: "?" * len(m[0].encode()), name.replace("\t", " "))
            found = self.calendar("--start", START, "--away", "22:00-07:00")
            self.assertEqual(len(found), 2)
            for event in found:
                self.assertTrue(str(event["SUMMARY"]).startswith(shown + ": "), event["SUMMARY"])

    def test_a_new_file_replaces_the_old_events(self):
        def write(*args, start=START):
            self.works("--ics", "f.ics", "--start", start, "--away", "22:00-07:00", *args)
            text = (self.folder / "f.ics").read_bytes()
            return text, self.by_id(events_of(text.decode()))

        def sequence(events):
            self.assertEqual(len({e["SEQUENCE"] for e in events.values()}), 1)
            return events["end"]["SEQUENCE"]

        text, first = write()
        self.assertEqual(write()[0], text)
        _, changed = write("--set", "toolhead.birch.exchange_s=90")
        self.assertEqual(set(changed), set(first))
        for i, event in changed.items():
            self.assertEqual(event["UID"], first[i]["UID"])
        self.assertNotEqual(changed["end"]["DTSTART"].dt, first["end"]["DTSTART"].dt)
        self.assertEqual(sequence(changed), sequence(first) + 1)
        _, later = write(start="2027-03-06T21:30")
        self.assertEqual(sequence(later), sequence(first) + 24 * 60)
        _, earlier = write()
        self.assertEqual(sequence(earlier), sequence(later) + 1)
        # Another job has other events.
        (self.folder / "job.gcode").rename(self.folder / "other.gcode")
        self.name = "other.gcode"
        _, other = write()
        self.assertFalse({str(e["UID"]) for e in other.values()} & {str(e["UID"]) for e in first.values()})

    def test_what_is_refused(self):
        ran = self.run_("--ics", "f.ics")
        self.assertEqual(ran.returncode, 2)
        self.assertIn(b"--ics needs --start\n  hint: say when the job is to begin", ran.stderr)
        (self.folder / "diary.ics").write_bytes(b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//someone\r\n")
        ran = self.run_("--start", START, "--ics", "diary.ics")
        self.assertEqual(ran.returncode, 2)
        self.assertIn(b"diary.ics: this file is not an earlier iCalendar report, and would be lost", ran.stderr)
        ran = self.run_("--start", START, "--ics", self.name)
        self.assertEqual(ran.returncode, 2)
        self.assertIn(b"the report would overwrite the job", ran.stderr)
        self.assertEqual(self.run_("--start", START, "--ics", "-", "--json", "-").returncode, 2)
        self.assertEqual(sorted(p.name for p in self.folder.iterdir()), ["diary.ics", "job.gcode", "rules.toml"])


unittest.main(argv=sys.argv[:1])
