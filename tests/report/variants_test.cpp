// Rule files side by side: text, JSON and CSV of rows made by hand.
#include "report/variants.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using Json = nlohmann::ordered_json;

namespace {

// The sample by its own rules, by these with a setting, and by another file.
Variants three() {
  Sample s;
  s.job.materials[2].exchanges = 1;
  s.job.materials[0].exchanges = 1;
  Variants out{s.path, s.job, {variant(s.job, s.rules, s.lookahead)}};
  s.rules.settings = {"feeder.fault_odds = 0.2"};
  s.rules.hash = 2;
  s.lookahead.figures.duration_s = 3540;
  s.lookahead.figures.energy_wh = 60;
  for (job::ToolChange& c : s.job.tool_changes) c.exchange_s = c.exchanges() ? 20 : 0;
  out.rows.push_back(variant(s.job, s.rules, s.lookahead));
  s.rules.settings.clear();
  s.rules.file = "machines/five.toml";
  s.rules.hash = 3;
  s.lookahead.figures.duration_s = 3000;
  s.lookahead.policy = rules::Policy::hold;
  s.job.materials[2].exchanges = 0;
  s.job.materials[2].exchange_purge_mm3 = 0;
  s.job.tool_changes[2].kind = job::ChangeKind::toolhead;
  s.job.tool_changes[2].exchange_s = 0;
  out.rows.push_back(variant(s.job, s.rules, s.lookahead));
  return out;
}

constexpr std::size_t kWide = 110;

}  // namespace

TEST_CASE("rule files side by side: the text") {
  const std::string all = text(three(), kWide);
  CHECK(all.substr(0, all.find("\nHot ends")) == R"(posts.gcode
  on bench machine
  rules: bench.toml, 0123456789abcdef
  2 layers: 55 min 00 s moving

  row 1: bench.toml
  row 2: bench.toml with feeder.fault_odds = 0.2
  row 3: five.toml (by hold)

row                time     waiting    hot idle  hot-end energy cold starts  exchanges     purge   all changes
1            1 h 00 min  1 min 13 s  2 min 11 s         61.2 Wh           3          2     0.6 g    1 min 45 s
2           59 min 00 s  1 min 13 s  2 min 11 s         60.0 Wh           3          2     0.6 g    1 min 15 s
3           50 min 00 s  1 min 13 s  2 min 11 s         60.0 Wh           3          1     0.5 g        55.0 s
All are planned by lookahead, unless a row says otherwise.

against row 1        time     waiting    hot idle  hot-end energy cold starts  exchanges     purge
2             -1 min 00 s         0 s         0 s         -1.2 Wh           0          0     0.0 g
3             -10 min 00 s         0 s         0 s         -1.2 Wh           0         -1    -0.1 g

five.toml makes the job shortest, 50 min 00 s; instead of bench.toml: 10 min 00 s shorter,
1.2 Wh less.
)");
}

TEST_CASE("rule files side by side: files of one name are told apart by their folders") {
  Variants v = three();
  v.rows[0].rules.file = "old/five.toml";
  v.rows[1].rules.file = "old/five.toml";
  const std::string all = text(v, kWide);
  CHECK(all.find("\n  row 1: old/five.toml\n") != std::string::npos);
  CHECK(all.find("\n  row 3: machines/five.toml (by hold)\n") != std::string::npos);
  v.rows[0].rules.built_in = true;
  CHECK(text(v, kWide).find("\n  row 1: built-in guesses\n") != std::string::npos);
}

TEST_CASE("rule files side by side: where none is better, that is said") {
  Variants v = three();
  v.rows[1].row.figures.duration_s = 4000;
  v.rows.pop_back();
  CHECK(text(v, kWide).find("\nNone makes the job shorter than bench.toml does, or as short with "
                            "less hot-end energy.\n") != std::string::npos);
  v.rows[1].row.figures.duration_s = 3600;
  std::string words = text(v, kWide);
  std::replace(words.begin(), words.end(), '\n', ' ');
  CHECK(words.find(
            " bench.toml with feeder.fault_odds = 0.2 takes the least hot-end energy, and none "
            "is shorter; instead of bench.toml: as long, 1.2 Wh less. ") != std::string::npos);
  v.rows[1].rules.settings.push_back("gap.hold_drop_c = 9");
  CHECK(text(v, kWide).find(
            "  row 2: bench.toml with feeder.fault_odds = 0.2, gap.hold_drop_c = 9\n") !=
        std::string::npos);
  v.rows.pop_back();
  CHECK(text(v, kWide).find("against row 1") == std::string::npos);
}

TEST_CASE("rule files side by side: the JSON") {
  const Json j = Json::parse(json(three()));
  CHECK(j["schema_version"] == 1);
  CHECK(j["job"]["path"] == "posts.gcode");
  CHECK(j["rules"].dump() == R"({"path":"bench.toml","hash":"0123456789abcdef"})");
  CHECK(j["bound"] == j["rows"][0]["bound"]);
  REQUIRE(j["rows"].size() == 3);
  CHECK(j["rows"][1].dump() ==
        R"({"policy":"lookahead","swept":null,"value":null,"off_over_s":1500.0,)"
        R"("timer_standby_s":null,"timer_off_s":null,"duration_s":3540.0,"wait_s":72.55,)"
        R"("hot_idle_s":130.5,"energy_wh":60.0,"cold_starts":3,"peak_heating_w":50.0,)"
        R"("peak_all_w":0.0,"over_limit_s":0.0,"over_limit_own_s":0.0,"exchanges":2,)"
        R"("purge_g":0.575,"change_s":75.0,"rules":{"path":"bench.toml",)"
        R"("hash":"0000000000000002","set":["feeder.fault_odds = 0.2"]},"changes":{"toolhead":1,)"
        R"("filament":1,"both":1,"redundant":1},"bound":{"wait_s":10.0,"hot_idle_s":100.25}})");
  CHECK(j["rows"][2]["policy"] == "hold");
  CHECK(j["rows"][2]["rules"]["path"] == "machines/five.toml");
  CHECK(j["rows"][2]["exchanges"] == 1);
  CHECK(j["rows"][2]["changes"]["both"] == 0);
}

TEST_CASE("rule files side by side: the CSV") {
  Variants v = three();
  v.rows[1].rules.settings = {"filament.T0.name = \"a, b\"", "gap.hold_drop_c = 9"};
  v.rows[2].rules.built_in = true;
  CHECK(csv(v) ==
        "policy,swept,value,off_over_s,timer_standby_s,timer_off_s,duration_s,wait_s,hot_idle_s,"
        "energy_wh,cold_starts,peak_heating_w,peak_all_w,over_limit_s,over_limit_own_s,exchanges,"
        "purge_g,change_s,rules,hash,set\n"
        "lookahead,,,1500,,,3600,72.55,130.5,61.235,3,50,0,0,0,2,0.575,105,bench.toml,"
        "0123456789abcdef,\n"
        "lookahead,,,1500,,,3540,72.55,130.5,60,3,50,0,0,0,2,0.575,75,bench.toml,"
        "0000000000000002,\"filament.T0.name = \"\"a, b\"\"; gap.hold_drop_c = 9\"\n"
        "hold,,,,,,3000,72.55,130.5,60,3,50,0,0,0,1,0.451,55,,0000000000000003,\n");
}
