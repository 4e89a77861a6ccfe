#!/usr/bin/env python3
"""Tests of the machine of rules and of the experiment, and that a rewrite of the demo job plays well on the
machine that its rules describe. Usage: experiment_test.py FOREWARM SIMULATED_MACHINE SOURCE-FOLDER"""
import json
import math
import pathlib
import re
import subprocess
import sys
import tempfile
import tomllib
import unittest

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
import experiment
import machine_of_rules

FOREWARM, PLAYER, SOURCE = (pathlib.Path(a).resolve() for a in sys.argv[1:4])
DEMO = SOURCE / "config/demo.toml"
RULES = tomllib.loads(DEMO.read_text())


class MachineOfRules(unittest.TestCase):
    def test_the_dead_time_is_split_between_delay_and_lag(self):
        heater = machine_of_rules.machine_of(RULES)["heaters"][0]
        lag = machine_of_rules.delay_of(heater["sensor_lag_s"], 180)
        self.assertAlmostEqual(heater["dead_time_s"] + lag, 2, places=3)
        self.assertAlmostEqual(machine_of_rules.delay_of(machine_of_rules.lag_of(7, 180), 180), 7)

    def test_factors_do_what_they_say(self):
        plain = machine_of_rules.machine_of(RULES)
        off = machine_of_rules.machine_of(RULES, full_drive=0.85, dead_time=1.15, exchange=1.2, time=1.07, stops=False)
        self.assertEqual(plain["heaters"][0]["full_drive_c"], 450)
        self.assertAlmostEqual(off["heaters"][0]["full_drive_c"], 23 + 0.85 * 427)
        self.assertAlmostEqual(off["heaters"][0]["dead_time_s"], 1.15 * plain["heaters"][0]["dead_time_s"])
        self.assertAlmostEqual(off["toolheads"][1]["exchange"]["mean_s"], 1.2 * 33)
        self.assertAlmostEqual(off["motion"]["time_factor"], 1.07)
        self.assertEqual(plain["toolheads"][1]["exchange_stop_odds"], 0.002)
        self.assertEqual(off["toolheads"][1]["exchange_stop_odds"], 0)

    def test_names_and_numbers_come_from_the_rules(self):
        machine = machine_of_rules.machine_of(RULES)
        self.assertEqual([(h["name"], h["tools"], h["heater"]) for h in machine["toolheads"]],
                         [("ash", [0], 0), ("birch", [1, 2, 3, 4, 5], 1), ("cedar", [6], 2)])
        self.assertEqual(machine["toolheads"][1]["hot_above_c"], {"1": 175, "2": 185, "3": 170, "4": 165, "5": 175})
        self.assertEqual(machine["homing_s"], 22)

    def test_any_value_can_be_put_in(self):
        machine = machine_of_rules.machine_of(RULES)
        for text in ["wait.stay_s=9", "heaters.*.gain_per_c=0.1", "motion.corner=deviation"]:
            machine_of_rules.put(machine, text)
        self.assertEqual(machine["wait"]["stay_s"], 9)
        self.assertEqual([h["gain_per_c"] for h in machine["heaters"]], [0.1] * 3)
        self.assertEqual(machine["motion"]["corner"], "deviation")

    def test_keys_go_into_every_heater_however_it_is_written(self):
        for text in [DEMO.read_text(), "[[toolhead]]\nheater = { power_w = 5 }\n"]:
            heaters = [t["heater"] for t in tomllib.loads(text)["toolhead"]]
            got = tomllib.loads(machine_of_rules.with_keys(text, {"settle_s": 5.0, "reached_c": 1.0}, {"wait_takes_s": 2}))
            self.assertEqual([t["heater"] for t in got["toolhead"]], [h | {"settle_s": 5.0, "reached_c": 1.0} for h in heaters])
            self.assertEqual(got["dialect"]["wait_takes_s"], 2)

    def test_the_approach_is_the_one_that_takes_as_long(self):
        machine = machine_of_rules.machine_of(RULES)
        heater, stay = machine["heaters"][0], machine["wait"]["stay_s"]
        took = machine_of_rules.seconds_to_reach(heater, 170, 215, 12.5, 1) + stay
        keys, dialect = machine_of_rules.keys_of(machine, 170, 215, took)
        self.assertEqual(keys["approach_c"], 12.5)
        self.assertEqual((keys["settle_s"], keys["reached_c"], keys["cool_time_constant_s"]), (stay, 1, 153))
        self.assertEqual(dialect, {"wait_takes_s": 1})
        # As the approach goes to nothing, the formula becomes that of full drive alone.
        self.assertAlmostEqual(machine_of_rules.seconds_to_reach(heater, 170, 215, 1e-9, 1e-9),
                               2 + 180 * math.log(280 / 235), places=3)


def use(head, from_s, late_s, cold_by_c=0.0):
    return {"toolhead": head, "tool": 0, "from_s": from_s, "late_s": late_s, "cold_by_c": cold_by_c}


def gap(head, wait_s, reason="parked 100 s"):
    return {"toolhead": head, "wait_s": wait_s, "reason": reason}


class Experiment(unittest.TestCase):
    def plan(self, *gaps):
        return {"gaps": gaps, "policies": {"lookahead": {"duration_s": 1000, "hot_idle_s": 5}}, "wait_by_cause": {}, "time_by_cause": {}}

    def truth(self, *uses, stops=0):
        return {"seed": 1, "print_from_s": 100, "end_s": 1100 + stops, "uses": uses, "changes": [], "waits": [],
                "stops": [], "time_by_cause_s": {"stops": stops}, "wait_by_cause_s": {"gap": 4}, "hot_idle_s": {"ash": 7, "birch": 3}}

    def test_late_is_what_waited_where_the_plan_said_0(self):
        plan = self.plan(gap("ash", 0), gap("birch", 12), gap("ash", 0.04), gap("ash", 0, "no further use"))
        truth = self.truth(use("cedar", 5, 99), use("birch", 150, 9), use("ash", 200, 0.9), use("ash", 300, 1.1, 3.0), stops=60)
        got = experiment.judge("A", plan, [truth, truth])
        self.assertEqual((got["late"], got["uses"], got["plays"]), (2, 4, 2))
        self.assertEqual((got["planned_s"], got["actual_s"], got["actual_sd_s"]), (1000, 1100, 0))
        self.assertEqual((got["cold_by_c"], got["hot_idle_s"], got["wait_s"]), (3.0, 10, {"gap": 4}))

    def test_a_plan_of_other_uses_is_an_error(self):
        for uses in [[use("ash", 200, 0)] * 2, []]:
            with self.assertRaises(ValueError):
                experiment.judge("A", self.plan(gap("ash", 0)), [self.truth(*uses)])

    def test_intervals_are_as_published(self):
        # Wilson, NIST/SEMATECH e-Handbook 7.2.4.1; values worked out from its formula.
        for k, n, low, high in [(0, 10, 0, 0.277533), (1, 681, 0.0002593, 0.0082704), (7, 256, 0.0133072, 0.0553557)]:
            got = experiment.wilson(k, n)
            self.assertAlmostEqual(got[0], low, places=6)
            self.assertAlmostEqual(got[1], high, places=6)


class Player(unittest.TestCase):
    def setUp(self):
        folder = tempfile.TemporaryDirectory()
        self.addCleanup(folder.cleanup)
        self.folder = pathlib.Path(folder.name)

    def play(self, *arguments, code=0):
        done = subprocess.run([PLAYER, *map(str, arguments)], cwd=self.folder, capture_output=True, text=True)
        self.assertEqual(done.returncode, code, done.stderr)
        return done

    def write(self, name, text):
        (self.folder / name).write_text(text)
        return name

    def test_record_csv_and_truth_are_written(self):
        job = self.write("job.gcode", "T0\nM109 S200\nG1 X10 E1 F600\nM118 forewarm 3 end\n")
        self.play("--record", "log", "--csv", "csv", "--truth", "truth", "--times", "clock", "--sent", "all", "--echoes", "done", job)
        log = (self.folder / "log").read_text().splitlines()
        self.assertEqual(log[0], "18:00:00.000 > T0")
        self.assertRegex(log[-1], r"^18:0\d:\d\d\.\d{3} forewarm 3 end$")
        self.assertEqual(sum("> G1" in line for line in log), 1)
        truth = json.loads((self.folder / "truth").read_text())
        self.assertEqual((truth["lines"], truth["gave_up"], len(truth["waits"])), (4, None, 1))
        self.assertEqual((self.folder / "csv").read_text().splitlines()[0], "time_s,heater,temp_c,target_c,drive")

    def test_exit_codes(self):
        job = self.write("job.gcode", "T9\n")
        self.assertIn("there is no T9", self.play(job, code=1).stderr)
        self.assertIn("cannot read", self.play("none.gcode", code=2).stderr)
        self.write("m.json", '{"gian": 1}')
        self.assertIn('no key "gian"', self.play("--machine", "m.json", job, code=2).stderr)
        self.assertIn("which job", self.play(code=2).stderr)

    def test_the_description_that_it_prints_is_one_that_it_reads(self):
        text = self.play("--describe").stdout
        self.assertEqual(self.play("--machine", self.write("m.json", text), "--describe").stdout, text)


    def end_of(self, fixture):
        machine = self.write("m.json", json.dumps(machine_of_rules.machine_of(RULES)))
        self.play("--machine", machine, "--truth", "truth", SOURCE / f"fixtures/{fixture}.gcode")
        truth = json.loads((self.folder / "truth").read_text())
        self.assertEqual(set(truth["left_aside"]), {"M73", "M84", "M106", "M107", "M221"})
        return truth["end_s"]

    def test_the_same_job_takes_as_long_in_whatever_form(self):
        absolute = self.end_of("trail_map_absolute")
        for form in ["crlf", "numbered", "lower"]:
            self.assertEqual(self.end_of("trail_map_" + form), absolute, form)
        # Rounded to other digits, and other moves for the same path.
        for form in ["inches", "arcs"]:
            self.assertLess(abs(self.end_of("trail_map_" + form) / absolute - 1), 0.004, form)

    def test_the_experiment_prints_a_line_for_each_rule_file(self):
        twice = ["--rules", f"one={DEMO}", "--rules", f"two={DEMO}"]
        done = subprocess.run([HERE / "experiment.py", "--forewarm", FOREWARM, "--player", PLAYER, "--job",
                               SOURCE / "fixtures/trail_map_arcs.gcode", *twice, "--seeds", "3:5", "--json", self.folder / "r.json"],
                              capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        results = json.loads((self.folder / "r.json").read_text())
        self.assertEqual([(r["name"], r["plays"]) for r in results], [("one", 2), ("two", 2)])
        self.assertEqual(results[0] | {"name": ""}, results[1] | {"name": ""})
        self.assertEqual([line.split()[0] for line in done.stdout.splitlines() if line[:3] in ("one", "two")],
                         ["one", "two"] * 2)


class Demo(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.place = tempfile.TemporaryDirectory()
        folder = cls.folder = pathlib.Path(cls.place.name)
        cls.job = folder / "job.gcode"
        experiment.run(FOREWARM, "rewrite", "-q", "--rules", DEMO, "--json", folder / "plan.json", "-o", cls.job,
                       SOURCE / "fixtures/trail_map.gcode")
        cls.plan = json.loads((folder / "plan.json").read_text())

    @classmethod
    def tearDownClass(cls):
        cls.place.cleanup()

    def played(self, seed, *puts):
        machine = machine_of_rules.machine_of(RULES)
        for text in puts:
            machine_of_rules.put(machine, text)
        path, truth = self.folder / "machine.json", self.folder / "truth.json"
        path.write_text(json.dumps(machine))
        experiment.run(PLAYER, "--machine", path, "--seed", seed, "--truth", truth, "--record", self.folder / "log", self.job)
        return json.loads(truth.read_text())

    def test_a_machine_without_habits_does_what_the_plan_says(self):
        # Two lags and little else: drive is full until 3 C from the target, nothing is spread, waits do not stay.
        habits = ["heaters.*.gain_per_c=0.15", "heaters.*.integral_s=1e9", "heaters.*.noise_c=0", "heaters.*.hold_factor=1",
                  "heaters.*.cool_time_constant_s=180", "wait.stay_s=0", "wait.least_s=0", "wait.within_c=1"]
        for spread in ["park", "pick", "exchange"]:
            habits.append(f"toolheads.*.{spread}.sd_s=0")
        habits += ["heaters.*.drive_sd=0", "motion.time_sd=0", "toolheads.*.exchange_stop_odds=0", "toolheads.*.pick_stop_odds=0"]
        truth = self.played(1, *habits)
        result = experiment.judge("demo", self.plan, [truth])
        self.assertEqual(result["late"], 0)
        self.assertGreater(result["uses"], 130)
        self.assertLess(result["cold_by_c"], 1.5)
        # Each planner of motion has its own ways, but not far apart.
        self.assertLess(abs(result["actual_s"] / result["planned_s"] - 1), 0.003)
        self.assertAlmostEqual(truth["time_by_cause_s"]["exchange"], self.plan["time_by_cause"]["exchange_s"], places=1)
        self.assertAlmostEqual(truth["time_by_cause_s"]["park_pick"], self.plan["time_by_cause"]["park_pick_s"], places=1)
        self.assertLess(abs(truth["wait_by_cause_s"]["start"] - self.plan["wait_by_cause"]["start_code_s"]), 5)
        self.assertLess(abs(result["hot_idle_s"] / result["planned_hot_idle_s"] - 1), 0.05)

    def test_with_its_habits_it_is_late_and_nothing_is_fed_cold(self):
        truths = [self.played(seed) for seed in (1, 2)]
        self.assertNotEqual(truths[0]["end_s"], truths[1]["end_s"])
        result = experiment.judge("demo", self.plan, truths)
        self.assertLess(result["cold_by_c"], 1.5)
        self.assertGreater(result["late_share"], 0.2)
        for truth in truths:
            self.assertIsNone(truth["gave_up"])
            self.assertEqual(len(truth["changes"]), 257)  # 88 toolhead, 119 filament, 49 both, and the first pick

    def test_rules_that_know_the_habits_are_on_time(self):
        done = subprocess.run([HERE / "experiment.py", "--forewarm", FOREWARM, "--player", PLAYER, "--job",
                               SOURCE / "fixtures/trail_map.gcode", "--rules", f"without={DEMO}", "--with-keys", "--seeds", "0:20",
                               "--json", self.folder / "r.json"], capture_output=True, text=True)
        self.assertEqual(done.returncode, 0, done.stderr)
        without, known = json.loads((self.folder / "r.json").read_text())
        self.assertGreater(without["late_share"], 0.2)
        self.assertLess(known["high"], 0.02)  # on_time = 0.99
        self.assertLess(abs(known["actual_s"] / known["planned_s"] - 1), 0.01)
        self.assertLess(abs(without["actual_s"] / without["planned_s"] - 1), 0.1)
        self.assertLess(known["cold_by_c"], 1.5)

    def test_targets_that_act_when_read_cool_what_still_prints(self):
        # The machine acts on a standby command ahead of the moves that it holds: the reason why it matters
        # where motion rests.
        truth = self.played(1, "settings=read")
        self.assertGreater(max(u["cold_by_c"] for u in truth["uses"]), 10)

    def test_the_log_has_each_select_and_a_report_a_second(self):
        truth = self.played(3)
        log = (self.folder / "log").read_text()
        # Some selects are of the tool that is there.
        self.assertEqual(len(re.findall(r"^\[[\d.]+\] > T\d$", log, re.M)), 257 + 16)
        reports = len(re.findall(r"^\[[\d.]+\] (?:ok )?T:", log, re.M))
        self.assertLess(abs(reports - truth["end_s"]), 5)
        self.assertEqual(log.count("stopped: "), len(truth["stops"]))


class Pauses(unittest.TestCase):
    """However long the pauses of a job are, nothing is fed cold, and nothing waits longer than planned."""

    def test_pauses_of_any_length(self):
        habits = ["heaters.*.gain_per_c=0.15", "heaters.*.integral_s=1e9", "heaters.*.noise_c=0", "heaters.*.hold_factor=1",
                  "heaters.*.cool_time_constant_s=180", "wait.stay_s=0", "wait.least_s=0", "wait.within_c=1", "heaters.*.drive_sd=0",
                  "motion.time_sd=0", "toolheads.*.exchange_stop_odds=0", "toolheads.*.pick_stop_odds=0"]
        habits += [f"toolheads.*.{spread}.sd_s=0" for spread in ("park", "pick", "exchange")]
        lines = (SOURCE / "fixtures/trail_map.gcode").read_text().splitlines(keepends=True)
        # One within a use, and others right before a change, where what comes is or should be hot.
        changes = [i for i, line in enumerate(lines) if re.match(r"T\d", line)]
        for i in sorted([changes[40] + 30, *changes[60:200:12]], reverse=True):
            lines.insert(i, "M600\n")
        with tempfile.TemporaryDirectory() as place:
            folder = pathlib.Path(place)
            (folder / "sliced.gcode").write_text("".join(lines))
            experiment.run(FOREWARM, "rewrite", "-q", "--rules", DEMO, "--json", folder / "plan.json", "-o", folder / "job.gcode",
                           folder / "sliced.gcode")
            plan = json.loads((folder / "plan.json").read_text())
            self.assertEqual(len(plan["pauses"]), 13)
            self.assertGreater(sum(g["wait_s"] > 10 for g in plan["gaps"]), 2)
            for seconds in (0, 600, 18000):
                machine = machine_of_rules.machine_of(RULES)
                for text in habits + ["stop_least_s=0", f"stop_mean_s={seconds}"]:
                    machine_of_rules.put(machine, text)
                (folder / "machine.json").write_text(json.dumps(machine))
                experiment.run(PLAYER, "--machine", folder / "machine.json", "--seed", 1, "--truth", folder / "truth.json",
                               folder / "job.gcode")
                truth = json.loads((folder / "truth.json").read_text())
                self.assertEqual(len(truth["stops"]), 13)
                self.assertLess(max(use["cold_by_c"] for use in truth["uses"]), 1.5)
                for head, planned_s, use in experiment.uses_of(truth, experiment.planned_waits(plan)):
                    self.assertLess(use["late_s"], planned_s + 1.5, f"{seconds} s: {head}, {use}")


if __name__ == "__main__":
    unittest.main(argv=sys.argv[:1])
