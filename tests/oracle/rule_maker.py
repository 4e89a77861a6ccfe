"""A random rule file for job_maker.py: toolheads, filaments, [gap] and, in a third, step sequences. The same seed gives
the same bytes. Accelerations are so high that time is distance over feed."""
HEADS = ["ash", "birch", "cedar", "elm", "fir"]
COLOURS = ["granite", "moss green", "lake blue", "heather", "trail ochre", "birch white", "signal red", "fern",
           "slate", "clay", "rowan", "reed", "peat", "lichen", "gorse", "flint", "bracken", "sedge", "loam", "alder"]


def text_of(value):
    if isinstance(value, str):
        return '"' + value + '"'
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {text_of(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(text_of(v) for v in value) + "]"
    return "true" if value is True else str(value)


class Rules:
    """Tables of a rule file, as text and as values."""

    def __init__(self, r, limits):
        self.r = r
        heads = r.choice([2, 2, 3, 3, 3, 4, 5])
        tool = 0
        numbers = r.sample(range(24), 20) if r.random() < 0.12 else list(range(20))
        self.heads = []
        indices = list(range(heads))
        r.shuffle(indices)
        self.by_heater = r.random() < 0.12
        own_indices = self.by_heater or r.random() < 0.3
        some_feeder = r.random() < 0.65
        for h in range(heads):
            feeder = some_feeder and r.random() < 0.5
            count = r.randint(2, 4) if feeder else 1
            max_c = r.choice([260, 270, 285, 300])
            heater = {}
            if own_indices:
                heater["index"] = indices[h]
            heater |= {"power_w": r.choice([30, 40, 50, 70]), "full_drive_c": r.choice([340, 400, 450, 600]),
                       "time_constant_s": r.choice([60, 100, 140, 180, 250])}
            if r.random() < 0.85:
                heater["dead_time_s"] = r.choice([0, 0.5, 2, 3, 5, 8])
            if max_c != 300 or r.random() < 0.5:
                heater["max_c"] = max_c
            head = {"name": HEADS[h], "tools": numbers[tool:tool + count], "heater": heater}
            if r.random() < 0.8:
                head["park_s"] = r.choice([0, 2.5, 6, 7, 12])
                head["pick_s"] = r.choice([0, 3, 7, 9.5])
            if feeder:
                head["exchange_s"] = r.choice([0, 20, 33, 35, 60, 75, 90])
            self.heads.append(head)
            tool += count
        self.tools = [t for h in self.heads for t in h["tools"]]
        self.head_of = {t: i for i, h in enumerate(self.heads) for t in h["tools"]}
        self.work = {t: r.choice([190, 195, 200, 205, 210, 215, 220, 230, 240, 250]) for t in self.tools}
        if r.random() < 0.2:
            self.work = {t: 215 for t in self.tools}
        self.machine = {"ambient_c": r.choice([18, 23, 23, 28])}
        if limits:
            most = max(h["heater"]["power_w"] for h in self.heads)
            self.machine["heating_limit_w"] = most + r.choice([0, 0, 20, 50])
        self.motion = {"max_accel_mm_s2": {a: 200000 for a in "xyze"}, "accel_mm_s2": 200000,
                       "jerk_mm_s": {a: 200 for a in "xyze"},
                       "max_speed_mm_s": {"x": 400, "y": 400, "z": r.choice([12, 20, 30]), "e": r.choice([50, 80])}}
        if r.random() < 0.1:
            self.motion["time_scale"] = r.choice([0.9, 1.15])
        self.filaments()
        self.gap()
        self.steps = {}
        if r.random() < 0.36:
            self.sequences()
        self.dialect = {}
        self.macros = not self.by_heater and r.random() < 0.06
        if self.by_heater:
            self.dialect = {"set": "M104 T{heater} S{temp}", "wait": "M109 T{heater} S{temp}",
                            "temperature_index": "heater"}
        elif self.macros:
            self.dialect = {"set": "WARM_HEAD {heater} {temp}", "wait": "AWAIT_HEAD {heater} {temp}"}
        if r.random() < 0.08:
            self.dialect["job_start"] = ["M117 planning"]
            self.dialect["job_end"] = ["M117 done"]

    def filaments(self):
        r = self.r
        self.filament, self.material = [], {}
        if r.random() < 0.5:
            self.material["PLA"] = {"standby_c": r.choice([140, 160, 170, 185])}
            if r.random() < 0.5:
                self.material["PLA"]["max_hot_idle_s"] = r.choice([60, 300, 900, 5000])
        for t in self.tools:
            if r.random() < 0.35:
                continue
            f = {"tool": t, "name": COLOURS[t % len(COLOURS)]}
            if self.material and r.random() < 0.6:
                f["material"] = "PLA"
            if r.random() < 0.4:
                f["standby_c"] = r.choice([110, 150, 165, 180, 200])
            if r.random() < 0.35:
                f["max_hot_idle_s"] = r.choice([0, 60, 60, 300, 2000])
            heater = self.heads[self.head_of[t]]["heater"]
            if r.random() < 0.4 and len(self.heads[self.head_of[t]]["tools"]) > 1:
                most = min(heater.get("max_c", 300) - 1, heater["full_drive_c"] - 30)
                f["exchange_c"] = min(most, self.work[t] + r.choice([-25, -10, 0, 10, 25, 45]))
            self.filament.append(f)

    def gap(self):
        r = self.r
        self.gap = {}
        policy = r.choices(["lookahead", "timers", "hold"], [0.84, 0.08, 0.08])[0]
        if policy != "lookahead" or r.random() < 0.3:
            self.gap["policy"] = policy
        if policy == "timers":
            self.gap |= {"timer_standby_s": r.choice([0, 20, 120]), "timer_off_s": r.choice([300, 900])}

        def maybe(key, chance, values):
            if r.random() < chance:
                self.gap[key] = r.choice(values)

        maybe("off_over_s", 0.75, ["best", "best", 0, 120, 300, 600, 1500, 5000])
        maybe("hold_drop_c", 0.6, [0, 2, 5, 12, 20])
        maybe("on_time", 0.4, [0.5, 0.9, 0.999, 0.9999])
        maybe("time_error", 0.4, [0, 0.01, 0.1, 0.3])
        maybe("heater_error", 0.4, [0, 0.02, 0.1, 0.15])
        if r.random() < 0.04:
            self.gap |= {"on_time": 0.9999, "time_error": 0.3}
        maybe("exchange_spread_s", 0.25, [0, 8, 20])
        maybe("park_spread_s", 0.25, [0, 2])
        maybe("lead_stretch", 0.2, [0, 0.1, 0.5])
        maybe("lead_extra_s", 0.2, [0, 4, 20])
        maybe("hot_idle_cost_per_h", 0.15, [0, 0.2, 1])
        maybe("restart_cost", 0.15, [0, 0.01, 0.1])

    def sequences(self):
        r = self.r
        length = r.choice([4, 8, 12])
        self.steps["tuck"] = [{"feed_mm": -length, "speed_mm_s": r.choice([20, 35])}]
        if r.random() < 0.8:
            self.steps["tuck"].append({"lift_mm": r.choice([0.6, 1, 2])})
        if r.random() < 0.25:
            self.steps["tuck"].insert(0, {"temp_offset_c": r.choice([-20, -10])})
        if r.random() < 0.2:
            self.steps["tuck"].insert(0, {"dwell_s": r.choice([0.5, 5])})
        self.steps["untuck"] = [{"feed_mm": length, "speed_mm_s": r.choice([3, 6])}]
        if r.random() < 0.3:
            self.steps["untuck"].insert(0, {"move_mm": {"x": 5, "y": 10}, "speed_mm_s": 150})
            self.steps["untuck"].append({"back": True})
        shape = [{"feed_mm": -22, "speed_mm_s": 60}, {"dwell_s": r.choice([1, 4])}]
        if r.random() < 0.5:
            shape.insert(0, {"feed_mm": 4, "speed_mm_s": 7})
        elif r.random() < 0.5:
            shape.insert(0, {"temp_offset_c": -30})
            if r.random() < 0.5:
                shape.insert(1, {"fan": 1.0})
            if r.random() < 0.3:
                shape.insert(1, {"wait": True})
        if r.random() < 0.2:
            shape.append({"gcode": "M400", "seconds": 0.5})
        self.steps["shape"] = shape
        self.steps["charge"] = [{"move_mm": {"x": 310, "y": 20}, "speed_mm_s": 200},
                                {"feed_mm": r.choice([20, 40, 60]), "speed_mm_s": r.choice([0.8, 2, 4])},
                                {"back": True}]
        if r.random() < 0.2:
            self.steps["charge"].insert(2, {"dwell_s": r.choice([3, 40])})
        self.steps["withdraw"] = [{"feed_mm": -30, "speed_mm_s": 25}]
        if r.random() < 0.3:
            self.steps["withdraw"].append({"lift_mm": 1.5})
        for h in self.heads:
            if r.random() < 0.6:
                h["before_park"], h["after_pick"] = "tuck", "untuck"
            if r.random() < 0.4:
                h["at_last_use"] = r.choice(["withdraw", "shape"])
        for f in self.filament:
            if len(self.heads[self.head_of[f["tool"]]]["tools"]) > 1:
                if r.random() < 0.7:
                    f["before_exchange"] = "shape"
                if r.random() < 0.7:
                    f["after_exchange"] = "charge"

    def text(self, policy=None):
        out = ["version = 1"]

        def table(name, values):
            if values:
                out.append(f"\n{name}")
                out.extend(f"{k} = {text_of(v)}" for k, v in values.items())

        table("[machine]", self.machine)
        table("[motion]", self.motion)
        for h in self.heads:
            table("[[toolhead]]", h)
        for f in self.filament:
            table("[[filament]]", f)
        for name, values in self.material.items():
            table(f"[material.{name}]", values)
        table("[gap]", self.gap | ({"policy": policy} if policy else {}))
        table("[steps]", self.steps)
        table("[dialect]", self.dialect)
        if self.macros:
            out.append("\n[[recognise]]\nmatch = '^(N\\d+ )?CHANGE_TO (?P<tool>\\d+)'\nas = \"change\"")
            for match, what in (("^(N\\d+ )?WARM_HEAD", "set"), ("^(N\\d+ )?AWAIT_HEAD", "wait")):
                out.append(f"\n[[recognise]]\nmatch = '{match}\\s+(?P<heater>\\d+)\\s+(?P<temp>[\\d.]+)'\n"
                           f"as = \"{what}\"")
        for match, seconds in (("^(N\\d+ )?G28", 22), ("^BRUSH", 9)):
            out.append(f"\n[[duration]]\nmatch = '{match}'\nseconds = {seconds}")
        return "\n".join(out) + "\n"

    def habits(self, r):
        """What heaters and waits may do besides."""
        for h in self.heads:
            heater = h["heater"]
            if r.random() < 0.5:
                heater["cool_time_constant_s"] = round(heater["time_constant_s"] * r.choice([0.5, 0.8, 1.25, 2]))
            if r.random() < 0.6:
                heater["approach_c"] = r.choice([2, 5, 10, 20, 40])
                heater["reached_c"] = r.choice([0.2, 0.5, 1, 2])
            elif r.random() < 0.2:
                heater["reached_c"] = r.choice([0.5, 1, 2])
            if r.random() < 0.5:
                heater["settle_s"] = r.choice([0.5, 3, 8, 15])
        if r.random() < 0.5:
            self.dialect["wait_takes_s"] = r.choice([0.2, 1, 3])

    def make_up(self, r):
        """Steps for what oozes, in sequences that there are, or in new ones."""
        if not self.steps:
            self.sequences()
        for name in ("untuck", "charge"):
            step = {"make_up_mm_per_min": r.choice([0.2, 0.2, 0.5, 1, 3, 20])}
            if r.random() < 0.6:
                step["at_most_mm"] = r.choice([0.5, 1, 5, 20])
            step["speed_mm_s"] = r.choice([0.5, 3, 6])
            self.steps[name].insert(r.choice([0, len(self.steps[name])]), step)
        self.steps["ooze"] = [{"make_up_mm_per_min": r.choice([0.2, 1, 5]), "at_most_mm": 10, "speed_mm_s": 2}]
        for h in self.heads:
            if "after_pick" not in h and r.random() < 0.7:
                h["after_pick"] = "ooze"
            if r.random() < 0.3:
                for t in h["tools"]:
                    if len(h["tools"]) > 1 and not any(f["tool"] == t for f in self.filament):
                        self.filament.append({"tool": t, "after_exchange": r.choice(["ooze", "charge"])})

    def index_of(self, tool):
        h = self.heads[self.head_of[tool]]
        return h["heater"].get("index", h["tools"][0])
