#include <catch2/catch.hpp>
#include <limits>
#include <nlohmann/json.hpp>

#include "report/report.h"
#include "rules/load.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;
using Json = nlohmann::ordered_json;

namespace {

std::string keys(const Json& object) {
  std::string out;
  for (const auto& [key, value] : object.items()) out += out.empty() ? key : " " + key;
  return out;
}

}  // namespace

TEST_CASE("the JSON has the documented keys, in order, and no others") {
  const Json j = Json::parse(json(Sample().summary()));
  CHECK(keys(j) ==
        "schema_version job rules changes policies bound toolheads gaps filaments "
        "time_by_cause wait_by_cause attention load pauses idle");
  CHECK(keys(j["job"]) == "path bytes lines motion_s layers breaks_off");
  CHECK(keys(j["changes"]) == "toolhead filament both redundant");
  CHECK(keys(j["policies"]) == "as_sliced timers hold lookahead");
  for (const auto& policy : j["policies"]) {
    CHECK(keys(policy) ==
          "duration_s wait_s hot_idle_s energy_wh cold_starts peak_heating_w "
          "peak_all_w over_limit_s over_limit_own_s");
  }
  CHECK(keys(j["bound"]) == "wait_s hot_idle_s");
  CHECK(keys(j["toolheads"][0]) == "name uses hold standby off hot_idle_s energy_wh wait_s");
  CHECK(keys(j["gaps"][0]) == "toolhead from_s to_s treatment dip_c preheat_at_s wait_s reason");
  CHECK(keys(j["filaments"][0]) ==
        "tool name part_g purge_g exchange_purge_g sequence_purge_g exchanges");
  CHECK(keys(j["time_by_cause"]) ==
        "motion_s park_pick_s exchange_s sequence_s wait_s guard_s other_s");
  CHECK(keys(j["attention"]) ==
        "expected_stops chance_of_none start end longest_without_exchange away as_started "
        "best_start finish best_finish shortest exchanges");
}

TEST_CASE("the JSON's values") {
  const Json j = Json::parse(json(Sample().summary()));
  CHECK(j["schema_version"] == 1);
  CHECK(j["job"].dump() == R"({"path":"posts.gcode","bytes":4200,"lines":210,"motion_s":3300.0,)"
                           R"("layers":2,"breaks_off":false})");
  CHECK(j["rules"].dump() == R"({"path":"bench.toml","hash":"0123456789abcdef"})");
  CHECK(j["changes"].dump() == R"({"toolhead":1,"filament":1,"both":1,"redundant":1})");
  CHECK(j["policies"]["as_sliced"].dump() ==
        R"({"duration_s":4000.0,"wait_s":500.25,"hot_idle_s":1200.0,"energy_wh":80.5,)"
        R"("cold_starts":2,"peak_heating_w":100.0,"peak_all_w":0.0,"over_limit_s":0.0,)"
        R"("over_limit_own_s":0.0})");
  CHECK(j["policies"]["timers"]["duration_s"] == 3900);
  CHECK(j["policies"]["hold"]["duration_s"] == 3540);
  CHECK(j["policies"]["lookahead"]["energy_wh"].dump() == "61.235");
  CHECK(j["bound"].dump() == R"({"wait_s":10.0,"hot_idle_s":100.25})");
  CHECK(j["wait_by_cause"].dump() ==
        R"({"start_code_s":60.0,"gap_s":12.55,"exchange_s":0.0,"use_s":0.0,"end_s":0.0})");
  CHECK(j["toolheads"].dump() ==
        R"([{"name":"left","uses":2,"hold":0,"standby":1,"off":1,"hot_idle_s":90.5,)"
        R"("energy_wh":40.0,"wait_s":72.55},)"
        R"({"name":"right","uses":1,"hold":1,"standby":0,"off":1,"hot_idle_s":40.0,)"
        R"("energy_wh":21.235,"wait_s":0.0}])");
  CHECK(j["gaps"].size() == 3);
  CHECK(j["gaps"][0]["preheat_at_s"].is_null());
  CHECK(j["gaps"][1].dump() ==
        R"({"toolhead":"left","from_s":1200.0,"to_s":2400.0,"treatment":"standby","dip_c":170.0,)"
        R"("preheat_at_s":2340.0,"wait_s":12.55,"reason":"parked 1200 s, preheat 60 s ahead"})");
  CHECK(
      j["filaments"].dump() ==
      R"([{"tool":0,"name":"granite","part_g":2.983,"purge_g":0.298,"exchange_purge_g":0.0,"sequence_purge_g":0.0,)"
      R"("exchanges":0},)"
      R"({"tool":1,"name":"signal red","part_g":1.527,"purge_g":0.153,)"
      R"("exchange_purge_g":0.0,"sequence_purge_g":0.0,"exchanges":0},)"
      R"({"tool":2,"name":"T2","part_g":0.0,"purge_g":0.124,"exchange_purge_g":0.124,"sequence_purge_g":0.0,"exchanges":1}])");
  CHECK(
      j["time_by_cause"].dump() ==
      R"({"motion_s":3300.0,"park_pick_s":35.0,"exchange_s":70.0,"sequence_s":0.0,"wait_s":72.55,)"
      R"("guard_s":0.0,"other_s":122.45})");
  // No clock times without a start.
  CHECK(j["attention"].dump() ==
        R"({"expected_stops":null,"chance_of_none":null,"start":null,"end":null,)"
        R"("longest_without_exchange":{"from_s":0.0,"to_s":2055.0,"from":null,"to":null},)"
        R"("away":[],"as_started":null,"best_start":null,)"
        R"("finish":null,"best_finish":null,"shortest":null,"exchanges":[)"
        R"({"time_s":2055.0,"clock":null,"from_tool":1,"to_tool":2,)"
        R"("from_filament":"signal red","to_filament":"T2","layer":0,"line":0},)"
        R"({"time_s":2310.5,"clock":null,"from_tool":2,"to_tool":0,)"
        R"("from_filament":"T2","to_filament":"granite","layer":0,"line":0}]})");
}

TEST_CASE("the JSON is indented by two and ends in a newline") {
  const std::string text = json(Sample().summary());
  CHECK(text.starts_with("{\n  \"schema_version\": 1,\n  \"job\": {\n    \"path\": \"posts.gco"));
  CHECK(text.substr(text.size() - 3) == "\n}\n");
}

TEST_CASE("built-in guesses have no path, but a hash") {
  Sample s;
  auto guesses = rules::built_in();
  REQUIRE(guesses);
  CHECK(guesses->built_in);
  guesses->hash = 15;
  s.rules = *guesses;
  CHECK(Json::parse(json(s.summary()))["rules"].dump() ==
        R"({"path":null,"hash":"000000000000000f"})");
  CHECK(text(s.summary()).find("\n  rules: built-in guesses, 000000000000000f\n") !=
        std::string::npos);
}

TEST_CASE("lists that are empty are lists") {
  Sample s;
  s.lookahead.gaps.clear();
  s.lookahead.heads.clear();
  s.job.materials.clear();
  const Json j = Json::parse(json(s.summary()));
  CHECK(j["gaps"].dump() + j["toolheads"].dump() + j["filaments"].dump() == "[][][]");
}

TEST_CASE("differences below the thousandth do not show, nor does the sign of nothing") {
  Sample a;
  Sample b;
  for (plan::GapPlan& gap : b.lookahead.gaps) gap.from_s += 1e-9;
  b.lookahead.figures.energy_wh += 1e-9;
  b.lookahead.gaps[2].wait_s = -1e-12;
  CHECK(json(a.summary()) == json(b.summary()));
}

TEST_CASE("no control character is in the JSON itself, and none is lost") {
  Sample s;
  s.path = "a\x1b[2J\x7f\xc2\x80\xc2\x9f\xc2\xa0\xc3\x9f\r\n";
  const std::string text = json(s.summary());
  CHECK(text.find("a\\u001b[2J\\u007f\\u0080\\u009f\xc2\xa0\xc3\x9f\\r\\n") != std::string::npos);
  CHECK(Json::parse(text)["job"]["path"] == s.path);
}

TEST_CASE("bytes that are not UTF-8 and numbers that are none still make JSON") {
  Sample s;
  s.path = "caf\xe9 \x01\"\\.gcode";
  s.rules.file = "\xe9.toml";
  s.job.heads[0].name = "\xff";
  s.lookahead.gaps[0].dip_c = std::numeric_limits<double>::quiet_NaN();
  s.lookahead.figures.duration_s = std::numeric_limits<double>::infinity();
  const Json j = Json::parse(json(s.summary()));
  CHECK(j["job"]["path"] == "caf\xef\xbf\xbd \x01\"\\.gcode");
  CHECK(j["rules"]["path"] == "\xef\xbf\xbd.toml");
  CHECK(j["toolheads"][0]["name"] == "\xef\xbf\xbd");
  CHECK(j["gaps"][0]["dip_c"].is_null());
  CHECK(j["policies"]["lookahead"]["duration_s"].is_null());
}
