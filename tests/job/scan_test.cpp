#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "help/files.h"
#include "help/jobs.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

std::string kind(job::ChangeKind c) {
  switch (c) {
    case job::ChangeKind::toolhead:
      return "toolhead";
    case job::ChangeKind::filament:
      return "filament";
    case job::ChangeKind::both:
      return "both";
    case job::ChangeKind::redundant:
      return "redundant";
    case job::ChangeKind::first:
      return "first";
    case job::ChangeKind::park:
      return "park";
  }
  return "?";
}

std::string selects(const job::Job& job) {
  std::string out;
  for (const auto& s : job.tool_changes) {
    out += fmt::format("{}:T{} {} {:g}\n", s.line, s.tool, kind(s.kind),
                       s.park_s + s.pick_s + s.exchange_s);
  }
  return out;
}

std::string uses(const job::Job& job) {
  std::string out;
  for (const auto& s : job.uses) {
    out += fmt::format("{} T{} line {} work {:g} last {:g}\n", job.heads[s.head].name, s.tool,
                       s.first_line, s.work_c.value_or(-1), s.last_c.value_or(-1));
  }
  return out;
}

}  // namespace

TEST_CASE("selects are told apart by kind, and cost what they cost") {
  const auto job = scan_of(
      "M83\nT0\nG1 X1 E1\nT1\nG1 X2 E1\nT2\nG1 X3 E1\nT2\nT0\nG1 X4 E1\nM6 T1\nG1 X5 E1\nT-1\n"
      "t1 s1 l0\nG1 X6 E1\nM204 T500\nM117 T2\nM104 T2 S200\n",
      rules_of(kTwoHeads));
  CHECK(selects(job) ==
        "2:T0 first 4\n"
        "4:T1 toolhead 10\n"
        "6:T2 filament 30\n"
        "8:T2 redundant 0\n"
        "9:T0 toolhead 10\n"
        "11:T1 both 40\n"
        "13:T-1 park 6\n"
        "14:T1 toolhead 4\n");
}

TEST_CASE("a use's working temperature is what it is pulled at first and then fed at") {
  const std::string start =
      "M83\nM104 T0 S205\nM104 T1 S215\nT0\nM109 S210\nG1 X1 E1\nM104 S200\nG1 X2 E1\n"
      "M104 T0 S150\nT1\nG1 X3 E1\nT0\n";
  const std::string before =
      "ash T0 line 6 work 210 last 200\nbirch T1 line 11 work 215 last 215\n";
  const auto rules = rules_of(kTwoHeads);
  CHECK(uses(scan_of(start + "M104 T0 S207\nG1 E-1\nM104 S208\nG1 X4 E1\n", rules)) ==
        before + "ash T0 line 14 work 208 last 208\n");
  // It is pulled at what is waited for, whatever comes then.
  CHECK(uses(scan_of(start + "M109 T0 S207\nG1 E-1\nM104 S208\nG1 X4 E1\n", rules)) ==
        before + "ash T0 line 14 work 207 last 208\n");
}

TEST_CASE("a filament exchanged without feeding still counts as a use") {
  const auto job =
      scan_of("M83\nM104 T1 S215\nT1\nG1 X1 E1\nT2\nT1\nG1 X2 E1\n", rules_of(kTwoHeads));
  CHECK(uses(job) ==
        "birch T1 line 4 work 215 last 215\n"
        "birch T2 line 5 work 215 last 215\n"
        "birch T1 line 7 work 215 last 215\n");
}

TEST_CASE("the job's clock counts moves, dwells, changes and listed durations") {
  auto rules = rules_of(std::string(kTwoHeads) +
                        "[motion]\nmax_accel_mm_s2 = { x = 1e6, y = 1e6, z = 1e6, e = 1e6 }\n"
                        "accel_mm_s2 = 1e6\n"
                        "[[duration]]\nmatch = '^G28'\nseconds = 22\n");
  const auto job = scan_of("M83\nG28\nT0\nG1 X100 E1 F600\nG4 P1500\nG4 S2\nT1\n", rules);
  // 22 homing, 4 picking, 10 moving, 3.5 dwelling, 10 changing.
  CHECK(job.duration_s == Approx(49.5).margin(0.01));
  CHECK(job.motion_s == Approx(10).margin(0.01));
}

TEST_CASE("time_scale stretches moves, and nothing else") {
  const std::string text = "M83\nT0\nG1 X100 E1 F600\nG4 S2\n";
  const auto plain = scan_of(text, rules_of(kTwoHeads));
  const auto scaled =
      scan_of(text, rules_of(std::string(kTwoHeads) + "[motion]\ntime_scale = 1.5\n"));
  CHECK(scaled.motion_s == Approx(1.5 * plain.motion_s));
  CHECK(scaled.duration_s - scaled.motion_s == Approx(plain.duration_s - plain.motion_s));
}

TEST_CASE("filament is counted per tool, purge apart from part") {
  auto rules = rules_of(std::string(kTwoHeads) +
                        "[[recognise]]\nmatch = '^; rinse begins'\nas = \"purge-begin\"\n"
                        "[[recognise]]\nmatch = '^; rinse ends'\nas = \"purge-end\"\n");
  const auto job = scan_of(
      "M83\nM104 T0 S200\nT0\nG1 X1 E3\nG1 E-1\nG1 E1\nT1\n; rinse begins\nG1 E40\n; rinse ends\n"
      "M221 S50\nG1 X2 E4\n",
      rules);
  REQUIRE(job.materials.size() == 2);
  CHECK(job.materials[0].part_mm == Approx(3));
  CHECK(job.materials[1].part_mm == Approx(2));
  CHECK(job.materials[1].purge_mm == Approx(40));
}

TEST_CASE("what is extruded within the purge area goes to waste") {
  const auto rules =
      rules_of("version = 1\n[machine]\npurge_area_mm = { x = [300, 320], y = [0, 30] }\n" +
               std::string(kTwoHeads).substr(std::string(kTwoHeads).find("[[toolhead]]")));
  const auto mm = [&](const std::string& text) {
    const auto job = scan_of("M83\nM104 T0 S200\nT0\nG0 X310 Y10 F6000\n" + text, rules);
    REQUIRE(job.materials.size() == 1);
    return std::to_string(int(job.materials[0].part_mm)) + " " +
           std::to_string(int(job.materials[0].purge_mm));
  };
  CHECK(mm("G1 E5\n") == "0 5");                // standing in it
  CHECK(mm("G1 X300 Y30 E5\n") == "0 5");       // to its very corner
  CHECK(mm("G1 X299.9 E5\n") == "5 0");         // out of it
  CHECK(mm("G0 X200\nG1 X310 E5\n") == "5 0");  // into it
  CHECK(mm("G0 Y40\nG1 X311 E5\n") == "5 0");   // beside it
  CHECK(mm("G1 X200 E1\nG1 X205 E2\nG0 X310\nG1 E7\nG1 E-2\n") == "3 5");
  CHECK(mm("G92 X0 Y0\nG1 X5 Y5 E5\nG1 X-20 E3\n") == "3 5");  // the machine's place counts
  CHECK(mm("G2 X315 Y10 I2.5 J0 E5\n") == "0 5");              // arcs by their ends
  CHECK(mm("M221 S50\nG1 E6\n") == "0 3");
}

TEST_CASE("exchanges send to waste what the rules say of their toolhead") {
  auto rules = rules_of(kTwoHeads);
  rules.toolheads[1].exchange_purge_mm3 = 90;
  const auto job = scan_of("T1\nT2\nT0\nT1\nT2\nT1\n", rules);
  REQUIRE(job.materials.size() == 2);
  CHECK(job.materials[0].tool == 1);
  CHECK(job.materials[0].exchange_purge_mm3 == Approx(180));
  CHECK(job.materials[1].exchange_purge_mm3 == Approx(180));
}

TEST_CASE("patterns speak for what a job says in its own way") {
  auto rules = rules_of(std::string(kTwoHeads) +
                        "[[recognise]]\nmatch = '^CHANGE_TO\\s+(?P<tool>\\d+)'\nas = \"change\"\n"
                        "[[recognise]]\nmatch = '^WARM H(?P<heater>\\d) (?P<temp>\\d+)'\nas = "
                        "\"set\"\n");
  const auto job = scan_of(
      "M83\nWARM H1 215\nCHANGE_TO 1\nG1 X1 E1\nWARM H0 205\nCHANGE_TO 0\nG1 X2 E1\n", rules);
  CHECK(selects(job) == "3:T1 first 4\n6:T0 toolhead 10\n");
  CHECK(uses(job) == "birch T1 line 4 work 215 last 215\nash T0 line 7 work 205 last 205\n");
}

TEST_CASE("what cannot be handled is refused with its place") {
  const auto refusal = [](const std::string& text) {
    auto job = try_scan(text, rules_of(kTwoHeads));
    REQUIRE_FALSE(job);
    CHECK(job.error().kind == Error::Kind::refused);
    return render(job.error());
  };
  CHECK(refusal("") == "job.gcode: the job is empty");
  CHECK(
      refusal("G1 X1\nG1 T0 \x01\n T7 ; off\n") ==
      "job.gcode:3:2: no toolhead serves T7\n   T7 ; off\n   ^\n  hint: add 7 to the `tools` of a "
      "[[toolhead]] in the rule file, or add a [[toolhead]] for it");
  CHECK(refusal("M104 T9 S200\n") ==
        "job.gcode:1:6: no toolhead serves T9\n  M104 T9 S200\n       ^\n  hint: add 9 to the "
        "`tools` of a [[toolhead]] in the rule file, or add a [[toolhead]] for it");
  CHECK(refusal("M104 T0 S291\n") ==
        "job.gcode:1:9: a target of 291 C is above max_c = 290 of toolhead \"ash\"\n  M104 T0 "
        "S291\n          ^\n  hint: check the job, or `max_c` of this toolhead in the rule file");
  CHECK(refusal(std::string("G1 X1\nG1\0 Y1\n", 13)) ==
        "job.gcode:2:3: the job is not text: it has a NUL byte\n  hint: compressed or packed "
        "G-code has to be unpacked first");
  CHECK(refusal("N1 G28*18\nN2 G28*18\n") ==
        "job.gcode:2:7: the checksum is wrong\n  N2 G28*18\n        ^\n  hint: the file is "
        "damaged; the machine would stop here");
  CHECK(refusal("G1 X1\nM104 T0 S200 ;fw+ preheat\n") ==
        "job.gcode: the job holds forewarm's marks but no valid header\n  hint: restore it from a "
        "copy, or from the file that forewarm made");
  CHECK(refusal("G1 X1\n;fw- M104 T0 S200\n").find("marks but no valid header") !=
        std::string::npos);
}

TEST_CASE("an off for a tool that is not there does no harm") {
  CHECK(try_scan("M104 T9 S0\n", rules_of(kTwoHeads)).ok());
}

TEST_CASE("the built-in rules make a toolhead of each T number seen") {
  auto rules = rules::load(rules::built_in_text(), "built-in");
  REQUIRE(rules);
  const auto job = scan_of("M83\nM104 T3 S200\nT3\nG1 X1 E1\nT0\nM109 S210\nG1 X2 E1\n", *rules);
  REQUIRE(job.heads.size() == 2);
  CHECK(job.heads[0].tools == std::vector<int>{3});
  CHECK(job.heads[1].heater_index == 0);
}

TEST_CASE("where reads end makes no difference") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  const std::string text = test::fixture("trail_map_crlf.gcode");
  const auto whole = try_scan(text, rules);
  REQUIRE(whole);
  for (const std::size_t most : {7U, 63U, 4096U, 65537U}) {
    const auto pieces = try_scan(text, rules, most, most < 64 ? 16 : 1024);
    REQUIRE(pieces);
    CHECK(pieces->hash == whole->hash);
    CHECK(pieces->duration_s == whole->duration_s);
    CHECK(selects(*pieces) == selects(*whole));
    CHECK(uses(*pieces) == uses(*whole));
  }
}

TEST_CASE("the index keeps its size and its order however long the job") {
  job::Index index;
  for (int i = 0; i < 3'000'000; ++i) index.add({std::uint64_t(i) * 20, double(i)});
  CHECK(index.size() <= job::Index::kMost);
  const job::Place p = index.last_where([](const job::Place& c) { return c.time_s <= 1e6; });
  CHECK(p.time_s <= 1e6);
  CHECK(p.time_s > 1e6 - 32);
  CHECK(p.offset == std::uint64_t(p.time_s) * 20);
}

TEST_CASE("before a change of tool the index is as fine in a long job as in a short one") {
  // 1,300 h with a change every 1,000 s, and none in the second half.
  job::Index index;
  constexpr int kEvery = 1000;
  constexpr int kSeconds = 4'700'000;
  for (int i = 0; i < kSeconds; ++i) {
    const double time_s = i;
    if (i % kEvery == 0 && i < kSeconds / 2) index.change(time_s);
    index.add({std::uint64_t(i) * 20, time_s}, i % kEvery == 0);
  }
  const auto coarse_s = [&](double at_s) {
    const auto early = [at_s](const job::Place& c) { return c.time_s <= at_s; };
    return at_s - index.last_where(early).time_s;
  };
  for (int change = kEvery; change < kSeconds / 2; change += 77 * kEvery) {
    INFO("change at " << change);
    CHECK(coarse_s(change) == 0);
    for (const double ahead_s : {0.5, 20.5, 179.5}) CHECK(coarse_s(change - ahead_s) < 1);
    for (const double ahead_s : {182.5, 400.5, 580.5}) CHECK(coarse_s(change - ahead_s) < 2);
  }
  CHECK(coarse_s(kSeconds - 100.5) < 1);
  CHECK(index.size() < 3 * job::Index::kMost);  // 4.7 million without
}

TEST_CASE("the index is searched from anywhere, and in part, as in whole") {
  for (const std::uint64_t size : {0, 1, 2, 3, 17, 100}) {
    job::Index index;
    for (std::uint64_t i = 0; i < size; ++i) index.add({10 + 10 * i, double(i)});
    REQUIRE(index.size() == size);
    for (std::uint64_t offset = 0; offset <= 10 * size + 20; ++offset) {
      const std::uint64_t stand = std::min(size, offset / 10);
      bool same = true;
      for (std::size_t near = 0; near <= size + 2; ++near) {
        same &= index.count_to(offset, near) == stand;
      }
      CHECK(same);
    }
    for (std::size_t first = 0; first < size; first += 3) {
      for (std::size_t end = first + 1; end <= size; end += 5) {
        for (const double until_s : {-1.0, 0.0, 1.5, 16.0, 50.0, 1000.0}) {
          const job::Place p = index.last_where(
              [&](const job::Place& c) { return c.time_s <= until_s; }, first, end);
          const double last_s = std::floor(std::min(until_s, double(end - 1)));
          CHECK(p.time_s == std::max(last_s, double(first)));
          CHECK(p.offset == index[std::size_t(p.time_s)].offset);
        }
      }
    }
  }
}

TEST_CASE("offsets and times hold past 2^32 bytes and 1000 hours") {
  job::Index index;
  const double far_s = 5'000'000;
  index.add({0, 0});
  index.add({std::uint64_t{6'000'000'000}, far_s});
  const job::Place p = index.last_where([&](const job::Place& c) { return c.time_s <= far_s; });
  CHECK(p.offset == 6'000'000'000U);
}

TEST_CASE("filament that is pulled where the heater is on begins a use, and goes on with one") {
  const auto job = scan_of(
      "M83\nG1 E-1\nM104 T0 S210\nT0\nG1 E-1\nM104 S205\nG1 X1 E1\nM104 T1 S215\nG1 E-2\nT1\n"
      "G1 E-1\nM109 T1 S220\nG1 X2 E1\n",
      rules_of(kTwoHeads));
  CHECK(uses(job) ==
        "ash T0 line 5 work 210 last 205\n"
        "birch T1 line 11 work 220 last 220\n");
  CHECK(job.uses[0].extruded_end < job.uses[0].last_end);
  CHECK(job.materials.size() == 2);
}

TEST_CASE("a visit that only pulls is a use at what its heater has then") {
  const std::string start = "M83\nM104 T0 S210\nM104 T1 S215\nT0\nM109 S210\nG1 X1 E1\n";
  const auto of = [&](const std::string& text) {
    return uses(scan_of(start + text, rules_of(kTwoHeads)));
  };
  const std::string first = "ash T0 line 6 work 210 last 210\n";
  CHECK(of("T1\nG1 E-80\n") == first + "birch T1 line 8 work 215 last 215\n");
  CHECK(of("T1\nM109 S220\nG1 E-80\nM104 S0\nT0\nG1 E-5\n") ==
        first + "birch T1 line 9 work 220 last 220\nash T0 line 12 work 210 last 210\n");
  CHECK(of("M207 S2 F1800\nT1\nG10\nT0\n") == first + "birch T1 line 9 work 215 last 215\n");
  // The heater was only just let go of: it is hot still.
  CHECK(of("M104 T1 S0\nT1\nG1 E-80\nT0\n") == first + "birch T1 line 9 work 215 last 215\n");
  CHECK(of("M104 T1 S0\nT1\nG1 E-2\nM109 S220\nG1 X2 E2\n") ==
        first + "birch T1 line 9 work 220 last 220\n");
  // Pulled cold: the job asks for no heat. Fed cold: it is refused.
  const std::string cold = "M104 T1 S0\nG1 X2 E1\n";
  CHECK(of(cold + "T1\nG1 E-80\nT0\n") == first);
  CHECK(of(cold + "T1\nG1 E-2\nM109 S220\nG1 X2 E2\n") ==
        first + "birch T1 line 12 work 220 last 220\n");
  CHECK(of("M104 T1 S0\nT1\nG1 E-2\nG1 X2 E2\n") == first + "birch T1 line 9 work 0 last 0\n");
}

TEST_CASE("a visit in which the job only waits for the heater is a use, once it prints") {
  const auto of = [](const std::string& text) { return uses(scan_of(text, rules_of(kTwoHeads))); };
  const std::string start = "M83\nM104 T0 S210\nT1\nM109 S150\nT0\nM109 S210\nG1 X1 E1\n";
  const std::string first = "ash T0 line 7 work 210 last 210\n";
  CHECK(of(start + "T1\nT0\n") == first);
  CHECK(of(start + "T1\nM109 S180\nG1 X9\nT0\n") == first + "birch T1 line 9 work 180 last 180\n");
  CHECK(of(start + "T1\nM104 S180\nG1 X9\nT0\nM109 T1 S0\n") == first);
  // For another toolhead, or for none.
  CHECK(of(start + "T1\nM109 T0 S180\nT0\nM109 S0\n") == first);
}

TEST_CASE("the last movement of filament has its own time, not that of what follows") {
  const std::string text = "M83\nM104 T0 S210\nT0\nG1 X60 E3 F3600\nG1 E-1 F1800\nG4 S600\nG0 X0\n";
  const auto job = scan_of(text, rules_of(kTwoHeads));
  REQUIRE(job.uses.size() == 1);
  CHECK(job.duration_s - job.uses[0].last_end_s > 600);
  CHECK(job.duration_s - job.uses[0].last_end_s < 603);
}

TEST_CASE("marks and NUL bytes are found wherever reads end") {
  const auto rules = rules_of(kTwoHeads);
  for (std::size_t most = 1; most < 12; ++most) {
    for (std::size_t pad = 0; pad < 8; ++pad) {
      const std::string before(pad, 'M');
      CHECK_FALSE(try_scan("; " + before + "\nG1 ;fw+ x\n", rules, most, 4).ok());
      CHECK_FALSE(try_scan("; " + before + "\n;fw- G1\n", rules, most, 4).ok());
      CHECK_FALSE(try_scan("; " + before + std::string(1, '\0') + "\n", rules, most, 4).ok());
      CHECK(try_scan("; " + before + ";fw ;fw+x ;f w+ \n", rules, most, 4).ok());
    }
  }
}

TEST_CASE("a line that selects, too, is never a target to be taken out") {
  auto rules =
      rules_of(std::string(kTwoHeads) +
               "[[recognise]]\nmatch = '^T(?P<tool>\\d+) S(?P<temp>\\d+)'\nas = \"set\"\n");
  const auto job = scan_of("M83\nM109 T0 S210\nT0\nG1 X1 E1\nT1 S220\nG1 X2 E1\n", rules);
  REQUIRE(job.targets.size() == 2);
  CHECK_FALSE(job.targets[1].alone);
}

TEST_CASE("an exchange without extrusion is as hot as what was there, and out it is as printed") {
  const auto job =
      scan_of("M83\nM109 T1 S210\nT1\nG1 X1 E1\nT2\nM109 S200\nG1 X2 E1\nT1\nM104 T1 S0\nM84\n",
              rules_of(kTwoHeads));
  CHECK(uses(job) ==
        "birch T1 line 4 work 210 last 210\n"
        "birch T2 line 7 work 200 last 200\n"
        "birch T1 line 8 work 200 last 210\n");
}

TEST_CASE("a refusal's column counts characters") {
  const auto rules = rules_of(kTwoHeads);
  const auto place = [&](const std::string& text) {
    const auto job = try_scan(text, rules);
    REQUIRE_FALSE(job);
    return std::pair(job.error().line, job.error().column);
  };
  CHECK(place("; gr\xc3\xbcn\n(gr\xc3\xbcn) T9\n") ==
        std::pair<std::uint64_t, std::uint64_t>(2, 8));
  CHECK(place("G1 X1\n(\xc3\xbc) M104 T0 S999\n") ==
        std::pair<std::uint64_t, std::uint64_t>(2, 13));
  CHECK(place("N1 (\xc3\xbc) G1 X1*7\n") == std::pair<std::uint64_t, std::uint64_t>(1, 13));
  CHECK(place(std::string("G1\n\xc3\xbc ") + '\0') ==
        std::pair<std::uint64_t, std::uint64_t>(2, 3));
}

TEST_CASE("absurd numbers and lines are read, and cost no more than their length") {
  const auto rules = rules_of(kTwoHeads);
  const std::string digits(1'000'000, '9');
  const std::string nines = "G1 X" + digits + "\nM104 T0 S" + digits + "\nT" + digits + "\nG4 P" +
                            digits + "\nG1 X." + digits + " E1\nG1 F1" + std::string(300, '0') +
                            "\nN" + digits + " G1 X1\nM110 N" + digits + "\n";
  auto job = try_scan("M109 T0 S200\nT0\n" + nines + "G1 X1 E1\n", rules);
  REQUIRE(job);
  CHECK(std::isfinite(job->duration_s));
  // Digits with blanks between them, and one line of nothing but words.
  std::string spaced = "G1 X";
  for (int i = 0; i < 500'000; ++i) spaced += "1 ";
  std::string words = "G1";
  for (int i = 0; i < 500'000; ++i) words += " X1";
  job = try_scan(spaced + "\n" + words + "\n", rules, 4096, 64);
  REQUIRE(job);
  CHECK(job->lines == 2);
  // One line of 50 MB.
  job = try_scan("T0\n; " + std::string(50'000'000, 'x') + "\nG1 X1\n", rules, SIZE_MAX, 4096);
  REQUIRE(job);
  CHECK(job->bytes == 50'000'012);
}

TEST_CASE("a pattern may mean a line that only sets the feed") {
  const std::string text =
      "T0\nG1 X1 Y1 E1 F3000\nG1 F1800\nG1 X9 E2\nG1 F1800\nG1 F2400\nG1 X1 E3\n";
  const auto seconds = [&](const std::string& duration) {
    return scan_of(text, rules_of(std::string(kTwoHeads) + duration)).duration_s;
  };
  const double stops = seconds("[[duration]]\nmatch = '^G1 F1800$'\nseconds = 0\n");
  CHECK(seconds("[[duration]]\nmatch = '^G1 F1800$'\nseconds = 5\n") == Approx(stops + 10));
  CHECK(seconds("[[duration]]\nmatch = '^G4'\nseconds = 5\n") < stops);
}

TEST_CASE("an arc longer than any machine is a bounded amount of work") {
  const auto rules = rules_of(kTwoHeads);
  std::string text = "M83\n";
  for (int i = 0; i < 300; ++i) text += "G2 I9999999\n";
  const auto job = try_scan(text, rules);
  REQUIRE(job);
  // At the feed that is in force before any is given, round a circle.
  CHECK(job->duration_s == Approx(300 * 2 * 3.14159265 * 9999999 / 25).epsilon(0.01));
}

// The legs are 50 mm at 100 mm/s; a machine that takes a right angle at 5 mm/s, M204 as ever.
TEST_CASE("corners by the speed through a right angle: M205 is left aside, with one hint") {
  const rules::Rules rules =
      rules_of(std::string(kTwoHeads) + "[motion]\naccel_mm_s2 = 3000\nright_angle_mm_s = 5\n");
  const std::string corner = "G1 X50 E1 F6000\nG1 Y50 E1\n";
  const auto plainly = scan_of("M83\nT0\nM204 P1000 T1000\n" + corner, rules);
  // From rest to 100 mm/s in 5 mm, and down to the corner in 4.9875 mm: 45 - 4.9875 mm at speed.
  CHECK(plainly.motion_s == Approx(2 * (0.1 + 0.095 + (50 - 5 - 4.9875) / 100)).epsilon(1e-9));
  CHECK(plainly.hints.empty());
  const auto job = scan_of("M83\nT0\nM204 P1000 T1000\nM205 X20 Y20\nM205 J0.5\n" + corner, rules);
  CHECK(job.motion_s == plainly.motion_s);
  REQUIRE(job.hints.size() == 1);
  CHECK(job.hints[0].line == 4);
  CHECK(job.hints[0].text == "M205 is left aside, here and later: corners go by right_angle_mm_s");
  CHECK(scan_of("M83\nT0\nM205 X20\n" + corner, rules_of(kTwoHeads)).hints.empty());
}

// Twice 50 mm at 100 mm/s by 1000 mm/s2: 10 mm and 0.2 s for two ramps, as in any text on motion; a
// stop between makes four of them.
TEST_CASE("motion comes to rest at lines of rests_at, and at what always does") {
  const std::string motion = "[motion]\naccel_mm_s2 = 1000\njunction_deviation_mm = 0.02\n";
  const rules::Rules plainly = rules_of(kTwoHeads + motion);
  const rules::Rules rests = rules_of(kTwoHeads + motion + "rests_at = ['^M106', '^SAY']\n");
  const auto motion_s = [](const std::string& line, const rules::Rules& rules) {
    return scan_of("M83\nT0\nG1 X50 E1 F6000\n" + line + "G1 X100 E1\n", rules).motion_s;
  };
  const double through = 0.2 + 90.0 / 100;
  const double stopped = 2 * (0.2 + 40.0 / 100);
  for (const std::string line : {"M106 S9\n", "SAY wood\n", "M107\n", ""}) {
    INFO(line);
    CHECK(motion_s(line, plainly) == Approx(through).epsilon(1e-9));
    CHECK(motion_s(line, rests) == Approx(line.size() > 5 ? stopped : through).epsilon(1e-9));
  }
  for (const std::string line :
       {"M400\n", "M109 S200\n", "M190 S60\n", "G4 P0\n", "M0\n", "T1\n"}) {
    INFO(line);
    CHECK(motion_s(line, plainly) == Approx(stopped).epsilon(1e-9));
  }
}

// 335.284 m of PLA of 1.75 mm are 1 kg, at 1.24 g/cm3 (published filament tables, seen):
// 806451.6129 mm3.
TEST_CASE("E in mm3 counts as the filament that it is") {
  const auto job = scan_of(
      "M83\nT0\nM200 D1.75\nG1 X100 E806451.6129 F6000\nG1 X0 E-3\nM200 D0\n"
      "G1 X100 E7\n",
      rules_of(kTwoHeads));
  REQUIRE(job.materials.size() == 1);
  CHECK(job.materials[0].part_mm == Approx(335284 + 7 - 3 / 2.405281875).margin(0.5));
  // The filament alone, as fast as its axis goes: 60 mm/s, by F in mm of it a minute.
  const auto alone = [](const std::string& lines) {
    return scan_of("M83\nT0\n" + lines, rules_of(kTwoHeads)).motion_s;
  };
  CHECK(alone("M200 D1.75\nG1 E240.5281875 F1800\n") ==
        Approx(alone("G1 E100 F1800\n")).epsilon(1e-8));
  CHECK(alone("M200 D1.75\nG1 E240.5281875 F9000\n") ==
        Approx(alone("G1 E100 F3600\n")).epsilon(1e-8));
}

namespace {

// A toolhead that melts 12 mm3/s, which are 4.98902 mm/s of 1.75 mm filament.
const rules::Rules& slow_melt() {
  static const rules::Rules rules = [] {
    std::string text = kTwoHeads;
    for (const std::string name : {"ash", "birch"}) {
      const std::string line = "name = \"" + name + "\"\n";
      text.insert(text.find(line) + line.size(),
                  name == "ash" ? "max_flow_mm3_s = 12\n" : "max_flow_mm3_s = 30\n");
    }
    return rules_of(text);
  }();
  return rules;
}

std::string hints(const std::string& text) {
  std::string out;
  for (const job::Hint& h : scan_of(text, slow_melt()).hints) {
    out += fmt::format("{}: {}\n", h.line, h.text);
  }
  return out;
}

// Rows of 100 mm at 100 mm/s, each with `mm` of filament: 1.056 s from 8 mm/s to 8 mm/s by
// 1500 mm/s2. To be given after G91.
std::string rows(int count, double mm) {
  std::string out;
  for (int i = 0; i < count; ++i)
    out += fmt::format("G1 X{} E{} F6000\n", i % 2 == 0 ? 100 : -100, mm);
  return out;
}

}  // namespace

TEST_CASE("where the job asks more than a toolhead melts, for 2 s and longer, there is a hint") {
  const std::string start = "G91\nT0\n";
  // 6 mm in 1.056 s are 13.7 mm3/s, 5.2 mm are 11.8.
  const std::string three = hints(start + rows(2, 1) + rows(4, 6) + rows(2, 1));
  CHECK(
      three.starts_with("5: more is asked of \"ash\" than its max_flow_mm3_s = 12, here for the "
                        "first time: up to 13.7 mm3/s"));
  CHECK(three.find("in 50 % of the time that it moves filament") != std::string::npos);
  CHECK(hints(start + rows(1, 6)).empty());  // not for 2 s
  CHECK(hints(start + rows(20, 5.2)).empty());
  CHECK_FALSE(hints(start + rows(2, 6)).empty());
  // Less than half a second between is no pause, more is.
  CHECK_FALSE(hints(start + rows(1, 6) + "G0 X20 F6000\n" + rows(1, 6)).empty());
  CHECK(hints(start + rows(1, 6) + "G4 P600\n" + rows(1, 6)).empty());
  CHECK(hints(start + rows(1, 6) + rows(1, 1) + rows(1, 6)).empty());
  // Each toolhead has its own.
  CHECK(hints("G91\nT1\n" + rows(20, 6)).empty());
  CHECK(hints("G91\nT0\n" + rows(1, 6) + "T1\n" + rows(5, 6) + "T0\n" + rows(1, 6)).empty());
  const std::string both =
      hints("G91\nT1\n" + rows(3, 20) + "T0\n" + rows(3, 6) + "T1\n" + rows(3, 20));
  CHECK(both.find("6: ") == std::string::npos);
  CHECK(both.find("7: more is asked of \"ash\"") != std::string::npos);
  CHECK(both.find("3: more is asked of \"birch\" than its max_flow_mm3_s = 30") !=
        std::string::npos);
  CHECK(both.find("in 1e+02") == std::string::npos);
}

TEST_CASE(
    "flow: the job's factors, units and arcs count, and pushing back what was pulled does not") {
  const std::string start = "G91\nT0\n";
  CHECK_FALSE(hints(start + "M221 S120\n" + rows(5, 5.2)).empty());
  CHECK(hints(start + "M221 S50\n" + rows(5, 6)).empty());
  CHECK_FALSE(hints(start + "M220 S150\n" + rows(5, 5.2)).empty());
  CHECK(hints(start + "M220 S50\n" + rows(5, 6)).empty());
  CHECK_FALSE(hints(start + "M200 D1.75\n" + rows(5, 6 * 2.405)).empty());
  CHECK(hints(start + "M200 D1.75\n" + rows(5, 6)).empty());
  CHECK_FALSE(hints(start + "G1 F6000\nG2 X0 Y0 I50 E20\nG2 X0 Y0 I50 E20\n").empty());
  CHECK(hints(start + "G1 F6000\nG2 X0 Y0 I50 E15\nG2 X0 Y0 I50 E15\n").empty());
  CHECK_FALSE(hints(start + "G1 E50 F600\n").empty());  // 24 mm3/s for 5 s
  CHECK(hints(start + "G1 E50 F240\n").empty());
  std::string retractions;
  for (int i = 0; i < 100; ++i) retractions += "G1 E-3 F2400\nG1 E3 F2400\n";
  CHECK(hints(start + retractions).empty());
}

TEST_CASE("what the controller may hold before a select: the last moves since motion rested") {
  const auto rules = rules_of(kTwoHeads);
  const std::string start = "M83\nT0\nM109 S210\n";
  const auto held_s = [&](const std::string& before) {
    const auto job = scan_of(start + before + "T1\nM109 S210\n" + print(2), rules);
    return job.tool_changes.at(1).held_s;
  };
  CHECK(held_s("") == 0);
  CHECK(held_s(print(2)) == Approx(2).margin(0.1));
  // No more than the last 32, be there thousands.
  CHECK(held_s(print(30)) == Approx(30).margin(0.1));
  CHECK(held_s(print(5000)) == Approx(64).margin(0.1));
  CHECK(held_s(print(30) + "M400\n") == 0);
  CHECK(held_s(print(30) + "G4 P0\n" + print(2)) == Approx(2).margin(0.1));
  // A select is a rest, too.
  CHECK(scan_of(start + print(10) + "T1\nT0\n" + print(2), rules).tool_changes.at(2).held_s == 0);
  CHECK(scan_of(start + print(10), rules).held_s == Approx(10).margin(0.1));
  CHECK(scan_of(start + print(10) + "M400\n", rules).held_s == 0);
}

TEST_CASE("what the controller may hold before a select that rests by a pattern, too") {
  const auto held_s = [&](const std::string& motion) {
    const auto rules = rules_of(kTwoHeads + std::string("\n") + motion);
    const auto job =
        scan_of("M83\nT0\nM109 S210\n" + print(10) + "T1\nM109 S210\n" + print(2), rules);
    return job.tool_changes.at(1).held_s;
  };
  CHECK(held_s("") == Approx(10).margin(0.1));
  CHECK(held_s("[motion]\nrests_at = ['^T1']\n") == Approx(10).margin(0.1));
  CHECK(held_s("[[duration]]\nmatch = '^T1'\nseconds = 1\n") == Approx(10).margin(0.1));
  CHECK(held_s("[[recognise]]\nmatch = '^T(?P<tool>1)'\nas = \"change\"\n") ==
        Approx(10).margin(0.1));
}

TEST_CASE("pauses are found with their time, layer and text, in start code as in the print") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text = "M83\nM0 ;the lid\nM104 S200\nT0\nG1 Z0.2 F600\n" + print(10) +
                           "G4 S5\nM600\nG1 Z0.4\n" + print(4) + "M1 S3\n" + print(4) + "M226\n";
  const auto job = scan_of(text, rules);
  REQUIRE(job.pauses.size() == 3);
  CHECK(job.pauses[0].text == "M0 ;the lid");
  CHECK(job.pauses[0].line == 2);
  CHECK(job.pauses[0].layer == 0);
  CHECK(job.pauses[0].at.time_s == 0);
  CHECK(job.pauses[0].at.offset == 4);
  CHECK(job.pauses[0].end_offset == 16);
  CHECK(job.pauses[1].text == "M600");
  CHECK(job.pauses[1].layer == 1);
  CHECK(job.pauses[1].at.time_s > 15);
  CHECK(job.pauses[1].at.time_s < 19.5);
  CHECK(text.substr(job.pauses[2].at.offset) == "M226\n");
  CHECK(job.pauses[2].layer == 2);
  // What goes on by itself takes its time.
  CHECK(job.pauses[2].at.time_s == Approx(job.duration_s));
  CHECK(job.duration_s > job.pauses[1].at.time_s + 3 + 8);
  CHECK(job.longest_line.seconds == Approx(5));
  CHECK(text.substr(job.longest_line.at.offset, 5) == "G4 S5");
}
