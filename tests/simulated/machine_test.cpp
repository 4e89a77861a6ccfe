#include "machine.h"

#include <catch2/catch.hpp>
#include <regex>
#include <sstream>

#include "motion_queue.h"

using namespace simulated;

namespace {

// Two toolheads, ash with T0 and birch with T1 and T2; without noise, times not spread.
Description two_heads() {
  Description d;
  d.heaters = {HeaterKind{}, HeaterKind{}};
  d.heaters[1].index = 1;
  for (HeaterKind& heater : d.heaters) heater.noise_c = heater.step_c = 0;
  d.toolheads = {ToolheadKind{.name = "ash", .tools = {0}, .heater = 0, .hot_above_c = {}},
                 ToolheadKind{.name = "birch", .tools = {1, 2}, .heater = 1, .hot_above_c = {}}};
  for (ToolheadKind& head : d.toolheads) {
    head.park = {5, 0};
    head.pick = {6, 0};
    head.exchange = {30, 0};
  }
  d.bed.instant = true;
  return d;
}

struct Played {
  Truth truth;
  std::string log, csv;
};

Played played(const Description& d, const std::string& job, std::uint64_t seed = 1,
              Times times = Times::seconds, const std::string& start = "2027-03-05T18:00:00") {
  std::ostringstream log, csv;
  std::istringstream lines(job);
  Record record(&log, &csv, times, start);
  Played out;
  out.truth = play(d, seed, lines, record, "commands");
  out.log = log.str();
  out.csv = csv.str();
  return out;
}

// When the log has a line with this text, in seconds; -1 if it has none.
double when(const std::string& log, const std::string& text) {
  std::smatch found;
  const std::regex pattern("(?:^|\n)\\[([\\d.]+)\\] " + text + "\n");
  return std::regex_search(log, found, pattern) ? std::stod(found[1]) : -1;
}

}  // namespace

TEST_CASE("the same seed gives the same record, another seed another") {
  Description d = two_heads();
  for (HeaterKind& heater : d.heaters) heater.noise_c = 0.3;
  for (ToolheadKind& head : d.toolheads) {
    head.exchange.sd_s = 3;
    head.exchange_stop_odds = 0.5;
  }
  std::string job = "M109 T1 S200\n";
  for (int i = 0; i < 20; ++i) job += "T1\nG1 X10 E1 F600\nT2\nG1 X0 E1\n";
  const Played one = played(d, job), same = played(d, job), other = played(d, job, 2);
  CHECK(one.log == same.log);
  CHECK(json_of(one.truth) == json_of(same.truth));
  CHECK(one.log != other.log);
  CHECK(one.truth.stops.size() > 5);
  CHECK(one.truth.stops.size() < 35);
  CHECK(when(one.log, "stopped: the filament did not come") ==
        Approx(one.truth.stops[0].at_s).margin(0.001));
  for (const StopTruth& stop : one.truth.stops) CHECK(stop.took_s >= d.stop_least_s);
}

TEST_CASE("a select parks, picks and exchanges as it has to") {
  const Truth t = played(two_heads(), "T0\nT1\nT1\nT2\nT0\nT1\n").truth;
  REQUIRE(t.changes.size() == 5);
  const std::vector<std::string> kinds{"toolhead", "toolhead", "filament", "toolhead", "both"};
  const std::vector<double> at{0, 6, 17, 47, 58};
  for (std::size_t i = 0; i < kinds.size(); ++i) {
    CHECK(t.changes[i].kind == kinds[i]);
    CHECK(t.changes[i].at_s == Approx(at[i]));
  }
  CHECK(t.changes[4].exchange_s == 30);
  CHECK(t.end_s == Approx(99));
  CHECK(t.time_by_cause.at("park_pick") == Approx(39));
  CHECK(t.time_by_cause.at("exchange") == Approx(60));
  REQUIRE(t.uses.size() == 4);
  CHECK(t.uses[1].toolhead == "birch");
  CHECK(t.uses[1].from_s == Approx(11));
  CHECK(t.uses[1].to_s == Approx(47));
}

TEST_CASE("a wait lasts until it has stayed near the target") {
  Description d = two_heads();
  const Played cold = played(d, "T0\nM109 S200\n");
  REQUIRE(cold.truth.waits.size() == 1);
  const WaitTruth& w = cold.truth.waits[0];
  // As the log tells it: the first report within 1 C, and 3 s from there, to the second of the
  // reports.
  std::smatch found;
  REQUIRE(std::regex_search(cold.log, found,
                            std::regex("\\[([\\d.]+)\\] T:(199\\.[^ ]*|20[^ ]*) /200")));
  CHECK(w.at_s + w.took_s - std::stod(found[1]) == Approx(d.wait.stay_s).margin(1.01));
  CHECK(w.late_s == Approx(w.took_s - d.wait.least_s - d.control_s));
}

TEST_CASE("a wait that finds it warm takes the least, or stays anew") {
  Description d = two_heads();
  d.wait.stay_s = 5;
  // So long after it was first within 1 C: `after_s`.
  const auto second = [&](double after_s) {
    d.wait.stay_s = 0;
    const double reached = played(d, "T0\nM109 S200\n").truth.end_s;
    d.wait.stay_s = 5;
    const int ms = int(std::lround((reached - 6 + after_s) * 1000));
    const Truth t = played(d, "T0\nM104 S200\nG4 P" + std::to_string(ms) + "\nM109 S200\n").truth;
    return t.waits.at(0);
  };
  CHECK(second(60).took_s == Approx(d.wait.least_s).margin(d.control_s + 1e-6));
  CHECK(second(60).late_s == 0);
  CHECK(second(2).took_s == Approx(3).margin(0.25));
  CHECK(second(2).late_s == Approx(3 - d.wait.least_s).margin(0.25));
  d.wait.counts_before = false;
  CHECK(second(2).took_s == Approx(d.wait.least_s).margin(d.control_s + 1e-6));
  d.wait.warm_stay_s = 4;
  CHECK(second(60).took_s == Approx(4).margin(d.control_s + 1e-6));
  CHECK(second(60).late_s == 0);
}

TEST_CASE("a heater that leaves the window begins its stay again") {
  Description d = two_heads();
  d.wait.within_c = 0.3;
  d.wait.stay_s = 30;
  d.heaters[0].gain_per_c = 0.2;
  d.heaters[0].sensor_lag_s = 20;  // it swings
  const double swinging = played(d, "T0\nM109 R200\n").truth.waits.at(0).took_s;
  d.heaters[0].sensor_lag_s = 0.5;
  const double calm = played(d, "T0\nM109 R200\n").truth.waits.at(0).took_s;
  CHECK(swinging > calm + 60);
}

TEST_CASE("S waits for heating only, R both ways") {
  const Description d = two_heads();
  const std::string hot = "T0\nM109 S220\n";
  CHECK(played(d, hot + "M109 S180\n").truth.waits.at(1).took_s < 1);
  const double cools = played(d, hot + "M109 R180\n").truth.waits.at(1).took_s;
  CHECK(cools > 30);
  CHECK(cools < 70);
}

TEST_CASE("a target out of reach is given up") {
  Description d = two_heads();
  d.wait.give_up_s = 300;
  const Truth t = played(d, "T0\nM109 S600\nG1 X10\n").truth;
  CHECK(t.gave_up == "line 2: heater 0 does not get to its target");
  CHECK(t.lines == 2);
  CHECK(played(d, "T7\n").truth.gave_up == "line 1: there is no T7");
}

TEST_CASE("an echo comes when it is read, ahead of motion, or when that is done") {
  Description d = two_heads();
  const std::string job = "T0\nG1 X100 F600\nM118 forewarm 1 leave\nG4 S1\nM118 forewarm 1 there\n";
  const Played read = played(d, job);
  CHECK(when(read.log, "forewarm 1 leave") == Approx(6));
  CHECK(when(read.log, "forewarm 1 there") == Approx(17).margin(0.1));
  d.echoes = "done";
  const Played done = played(d, job);
  CHECK(when(done.log, "forewarm 1 leave") == Approx(16).margin(0.1));
  CHECK(when(done.log, "forewarm 1 there") == when(read.log, "forewarm 1 there"));
}

TEST_CASE("a target acts after the motion before it, or when it is read") {
  Description d = two_heads();
  const std::string job = "T0\nG1 X100 F600\nM104 T1 S200\nM400\nG4 S20\n";
  const auto begins = [&] {
    const std::string log = played(d, job).log;
    std::smatch found;
    REQUIRE(std::regex_search(log, found, std::regex("\\[([\\d.]+)\\] ok .* T1:[^ ]+ /200")));
    return std::stod(found[1]);
  };
  CHECK(begins() == Approx(17));
  d.settings = "read";
  CHECK(begins() == Approx(7).margin(0.101));
}

TEST_CASE("a report is in the form of the convention") {
  const Played p = played(two_heads(), "M140 S60\nT0\nM104 S200\nG4 S5\nM109 S200\n");
  const std::string number = "-?\\d+\\.\\d", pair = number + " /" + number;
  const std::regex report("\\[\\d+\\.\\d{3}\\] (ok )?T:" + pair + " B:" + pair + " T0:" + pair +
                          " T1:" + pair + " @:\\d+ B@:\\d+ @0:\\d+ @1:\\d+");
  std::istringstream lines(p.log);
  std::string line;
  int reports = 0, while_waiting = 0;
  double last = -1;
  while (std::getline(lines, line)) {
    if (line.find(" /") == std::string::npos) continue;
    INFO(line);
    REQUIRE(std::regex_match(line, report));
    const double at = std::stod(line.substr(1));
    if (reports > 1) REQUIRE(at - last == Approx(1).margin(0.101));
    last = at;
    ++reports;
    while_waiting += line.find("] T:") != std::string::npos;
  }
  CHECK(reports > 50);
  CHECK(while_waiting > 40);
  CHECK(while_waiting < reports - 10);
  CHECK(p.csv.rfind("time_s,heater,temp_c,target_c,drive\n", 0) == 0);
  CHECK(p.csv.find("\n10.000,0,") != std::string::npos);
  CHECK(p.csv.find("\n10.000,bed,60.") != std::string::npos);
}

TEST_CASE("times are seconds, a clock that passes midnight, or a stamp") {
  const std::string job = "G4 S65\nM118 here\n", start = "2027-02-28T23:59:00";
  CHECK(played(two_heads(), job, 1, Times::seconds, start).log.find("\n[65.000] here\n") !=
        std::string::npos);
  CHECK(played(two_heads(), job, 1, Times::clock, start).log.find("\n00:00:05.000 here\n") !=
        std::string::npos);
  CHECK(played(two_heads(), job, 1, Times::stamp, start)
            .log.find("\n2027-03-01T00:00:05.000 here\n") != std::string::npos);
  CHECK_THROWS_WITH(played(two_heads(), job, 1, Times::stamp, "2027-02-30T00:00:00"),
                    "start: there is no such day");
}

TEST_CASE("moves take what they take, in any modes") {
  const auto moving = [](const std::string& job) {
    return played(two_heads(), "T0\n" + job).truth.time_by_cause.at("moving");
  };
  const double line = moving("G1 X100 F6000\n");
  CHECK(line == Approx(seconds_of(100, 0, 0, 100, 3000)));
  CHECK(moving("G91\nG1 X100 F6000\n") == Approx(line));
  CHECK(moving("G20\nG1 X3.937007874 F236.2204724\n") == Approx(line));
  CHECK(moving("G92 X-100\nG1 X0 F6000\n") == Approx(line));
  CHECK(moving("M220 S50\nG1 X100 F12000\n") == Approx(line));
  CHECK(moving("M204 T1000\nG0 X100 F6000\n") == Approx(seconds_of(100, 0, 0, 100, 1000)));
  CHECK(moving("M83\nG1 E5 F300\nG1 E5\n") > moving("M82\nG1 E5 F300\nG1 E5\n") + 0.9);
  // A half circle of radius 50 at 20 mm/s, and the same by its radius.
  const double half = moving("G2 X100 Y0 I50 J0 F1200\n");
  CHECK(half == Approx(50 * 3.14159265 / 20).epsilon(0.005));
  CHECK(moving("G2 X100 Y0 R50 F1200\n") == Approx(half).epsilon(1e-6));
  CHECK(moving("G3 X100 Y0 R-60 F1200\n") > 1.3 * half);
  CHECK(moving("G2 I50 F1200\n") == Approx(2 * half).epsilon(0.005));
}

TEST_CASE("each stretch between changes has a pace of its own") {
  Description d = two_heads();
  d.motion.time_sd = 0.1;
  std::string job = "M83\n";
  for (int i = 0; i < 400; ++i) {
    job += (i % 2 ? "T0\n" : "T1\n") + std::string("G1 X100 F600\nM400\nG92 X0\n");
  }
  const Truth t = played(d, job).truth;
  const double one = seconds_of(100, 0, 0, 10, 3000);
  CHECK(t.time_by_cause.at("moving") / 400 == Approx(one).epsilon(0.02));
  CHECK(t.time_by_cause.at("moving") / 400 != Approx(one).epsilon(1e-6));
}

TEST_CASE("what is fed cold is seen") {
  const Description d = two_heads();
  const auto by = [&](const std::string& job) {
    return played(d, job).truth.uses.at(0).feeds.cold_by_c;
  };
  CHECK(by("T0\nM109 S200\nG1 X5 E1 F600\n") < 1.1);
  CHECK(by("M104 T0 S200\nT0\nG1 X5 E1 F600\n") > 100);  // never waited for
  CHECK(by("T0\nM109 S200\nM104 S150\nM400\nG4 S60\nM109 S200\nG1 X5 E1 F600\n") < 1.1);
  CHECK(by("T0\nM109 S200\nM104 S0\nM400\nG4 S60\nG1 X5 E1 F600\n") > 20);
  const Truth t = played(d, "M109 T1 S200\nT1\nG1 X5 E1 F600\nT2\n").truth;
  CHECK(t.changes.at(1).exchange.coldest_c == Approx(200).margin(2));
}

TEST_CASE("each wait has its cause") {
  const Description d = two_heads();
  const std::string begin = "M83\nT0\nM109 S200\nG1 X50 E1 F600\n";
  const Truth t =
      played(d, begin +
                    "M109 S205\nG1 X0 E1\nM109 T1 S200\nT1\nM109 S210\nG1 X5 E1\nM109 S200\n"
                    "T2\nM109 S215\nG1 X0 E1\nM109 R190\n")
          .truth;
  std::vector<std::string> causes;
  for (const WaitTruth& w : t.waits) causes.push_back(w.cause);
  CHECK(causes ==
        std::vector<std::string>{"start", "use", "gap", "gap", "exchange", "exchange", "end"});
  REQUIRE(t.uses.size() == 2);
  CHECK(t.uses[1].wait_s == Approx(t.waits[2].took_s + t.waits[3].took_s));
  CHECK(t.uses[1].late_s == Approx(t.waits[2].late_s + t.waits[3].late_s));
}

TEST_CASE("a parked toolhead that is hot is counted") {
  Description d = two_heads();
  d.toolheads[0].hot_above_c["0"] = 175;
  d.heaters[0].sensor_lag_s = d.heaters[0].dead_time_s = 0;
  const Truth t = played(d, "T0\nM109 S200\nG4 S300\nG1 X50 E1 F600\nM104 S0\nT1\nG4 S200\n").truth;
  // From 200 C to 175 C at 22 C, with 187 s.
  CHECK(t.hot_idle_s.at("ash") == Approx(187 * std::log(178.0 / 153.0)).margin(0.5));
  CHECK(t.hot_idle_s.at("birch") == 0);
}

TEST_CASE("a job without a select uses the first toolhead") {
  const Truth t = played(two_heads(), "M104 S150\nM109 S200\nG1 X50 E1 F600\nG1 E0\n").truth;
  REQUIRE(t.uses.size() == 1);
  CHECK(t.uses[0].toolhead == "ash");
  CHECK(t.uses[0].feeds.cold_by_c < 1.1);
  CHECK(t.waits.at(0).cause == "start");
  CHECK(t.changes.empty());
}

TEST_CASE("what is not known is counted") {
  const Truth t = played(two_heads(), "CHANGE_TO 1\nM106 S255\nM106 S0\nG29\n; T9\n").truth;
  CHECK(t.left_aside == std::map<std::string, int>{{"no command", 1}, {"M106", 2}, {"G29", 1}});
  CHECK(t.gave_up.empty());
}

TEST_CASE("a description is read strictly, and written whole") {
  const auto read = [](const char* text) { return description_of(nlohmann::json::parse(text)); };
  const Description d = read(
      R"({"heaters": [{"index": 3}], "toolheads": [{"name": "ash", "tools": [3], "heater": 3}]})");
  CHECK(d.heaters.size() == 1);
  CHECK(d.heaters[0].time_constant_s == HeaterKind{}.time_constant_s);
  CHECK(json_of(description_of(json_of(d))) == json_of(d));
  const auto refused = [&](const char* text, const char* message) {
    CHECK_THROWS_WITH(read(text), message);
  };
  refused(R"({"wait": {"stay": 3}})", "machine: wait: there is no key \"stay\"");
  refused(R"({"heaters": [{"gain": 3}]})", "machine: heaters[0]: there is no key \"gain\"");
  refused(R"({"wait": 3})", "machine: wait: an object is needed here");
  refused(R"({"control_s": "x"})", "machine: control_s: this is no value for it: \"x\"");
  refused(R"({"motion": {"corner": "round"}})", "machine: motion.corner: \"round\" is not known");
  refused(R"({"heaters": []})", "machine: toolheads[0].heater: there is no such heater");
  refused(R"({"heaters": [{"sensor_lag_s": 200}]})",
          "machine: heaters[0].sensor_lag_s: it has to be less than time_constant_s");
}
