// The reports of a real job, from its bytes on.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "base/bytes.h"
#include "help/files.h"
#include "job/scan.h"
#include "plan/plan.h"
#include "report/figures.h"
#include "report/report.h"
#include "rules/load.h"

using namespace forewarm;
using test::get;
using Json = nlohmann::ordered_json;

namespace {

template <class T>
T need(Result<T> result) {
  if (!result) FAIL(render(result.error()));
  return std::move(*result);
}

double sum(const Json& list, const char* key) {
  double out = 0;
  for (const Json& item : list) out += item[key].get<double>();
  return out;
}

}  // namespace

TEST_CASE("the figures of a real job agree with each other") {
  const auto rules = need(rules::load(get(FOREWARM_SOURCE_DIR "/config/demo.toml"), "demo.toml"));
  const std::string bytes = get(FOREWARM_FIXTURES "/trail_map_crlf.gcode");
  TextSource source(bytes);
  const auto job = need(job::scan(source, rules));
  const auto made = [&](rules::Policy p) { return need(plan::make(job, rules, p)); };
  const auto as_sliced = made(rules::Policy::as_sliced);
  const auto timers = made(rules::Policy::timers);
  const auto hold = made(rules::Policy::hold);
  const auto lookahead = made(rules::Policy::lookahead);
  const report::Summary summary{
      "trail_map_crlf.gcode", job, rules, as_sliced, timers, hold, lookahead};
  const std::string text = report::json(summary);
  CHECK(text == report::json(summary));
  const Json j = Json::parse(text);

  CHECK(j["job"]["bytes"] == bytes.size());
  CHECK(j["job"]["lines"] == std::count(bytes.begin(), bytes.end(), '\n'));
  CHECK(j["job"]["layers"] == 5);
  const Json& changes = j["changes"];
  CHECK(changes["toolhead"].get<int>() + changes["filament"].get<int>() +
            changes["both"].get<int>() ==
        32);  // what the fixture was made with

  const Json& policy = j["policies"]["lookahead"];
  // Each term is rounded to the thousandth.
  const double close = 0.001 * double(j["gaps"].size() + j["toolheads"].size() + 1);
  const auto agree = [&](double a, double b) {
    INFO(a << " and " << b);
    CHECK(std::abs(a - b) <= close);
  };
  agree(sum(j["toolheads"], "hot_idle_s"), policy["hot_idle_s"].get<double>());
  agree(sum(j["toolheads"], "energy_wh"), policy["energy_wh"].get<double>());
  agree(sum(j["toolheads"], "wait_s"), policy["wait_s"].get<double>());
  CHECK(sum(j["gaps"], "wait_s") <= policy["wait_s"].get<double>() + close);
  CHECK(sum(j["toolheads"], "hold") + sum(j["toolheads"], "standby") + sum(j["toolheads"], "off") ==
        double(j["gaps"].size()));
  for (const Json& head : j["toolheads"]) {
    for (const char* treatment : {"hold", "standby", "off"}) {
      INFO(head["name"] << ' ' << treatment);
      CHECK(std::count_if(j["gaps"].begin(), j["gaps"].end(), [&](const Json& gap) {
              return gap["toolhead"] == head["name"] && gap["treatment"] == treatment;
            }) == head[treatment].get<int>());
    }
  }
  for (const Json& gap : j["gaps"]) {
    INFO(gap.dump());
    CHECK(gap["from_s"] <= gap["to_s"]);
    CHECK(gap["to_s"].get<double>() <= policy["duration_s"].get<double>() + close);
    const std::string reason = gap["reason"];
    CHECK_FALSE(reason.empty());
    // "parked 265 s": the stretch that from and to give.
    if (reason.starts_with("parked ")) {
      CHECK(std::abs(std::stod(reason.substr(7)) -
                     (gap["to_s"].get<double>() - gap["from_s"].get<double>())) < 0.6);
    }
    if (!gap["preheat_at_s"].is_null()) {
      CHECK(gap["from_s"] <= gap["preheat_at_s"]);
      CHECK(gap["preheat_at_s"] <= gap["to_s"]);
    }
  }
  CHECK(j["bound"]["hot_idle_s"].get<double>() <= policy["hot_idle_s"].get<double>() + close);
  CHECK(j["bound"]["wait_s"].get<double>() <= policy["wait_s"].get<double>() + close);
  CHECK(policy["wait_s"] <= j["policies"]["as_sliced"]["wait_s"]);
  CHECK(policy["hot_idle_s"] <= j["policies"]["hold"]["hot_idle_s"]);
  CHECK(sum(j["filaments"], "exchanges") ==
        double(job.count(job::ChangeKind::filament) + job.count(job::ChangeKind::both)));

  const Json& cause = j["time_by_cause"];
  double seconds = 0;
  for (const auto& [key, value] : cause.items()) {
    CHECK(value.get<double>() >= 0);
    seconds += value.get<double>();
  }
  agree(seconds, policy["duration_s"].get<double>());
  CHECK(cause["motion_s"] == j["job"]["motion_s"]);
  agree(cause["wait_s"].get<double>(), policy["wait_s"].get<double>());
  const Json& waits = j["wait_by_cause"];
  double waited_s = 0;
  for (const auto& [key, value] : waits.items()) waited_s += value.get<double>();
  agree(waited_s, policy["wait_s"].get<double>());
  agree(waits["gap_s"].get<double>() + waits["end_s"].get<double>(), sum(j["gaps"], "wait_s"));
  agree(sum(j["toolheads"], "wait_s"), policy["wait_s"].get<double>());
  CHECK(cause["exchange_s"] == 33 * sum(j["filaments"], "exchanges"));  // config/demo.toml

  CHECK(double(j["attention"]["exchanges"].size()) == sum(j["filaments"], "exchanges"));
}

TEST_CASE("rules of thumb: what an exchange takes, and what it wastes") {
  // Common practice, no source: a feeder's taking-out alone takes about 35 s, putting a toolhead
  // away 7 to 8 s. So one exchange costs at least four times the parking of a toolhead change.
  const rules::Toolhead usual;
  CHECK(usual.exchange_s >= 4 * usual.park_s);
  const auto rules = need(rules::load(get(FOREWARM_SOURCE_DIR "/config/demo.toml"), "demo.toml"));
  const std::string bytes = get(FOREWARM_FIXTURES "/trail_map.gcode");
  TextSource source(bytes);
  const auto job = need(job::scan(source, rules));
  // Common practice, no source: an exchange purges an order of magnitude more than a small colour
  // patch prints. Of the fixture's five colours, within half an order.
  report::Grams colours;
  for (const job::Material& m : job.materials) {
    if (m.exchanges == 0) continue;
    const report::Grams g = report::grams(m, rules.filament(m.tool));
    CHECK(g.purge_g > g.part_g);
    colours.part_g += g.part_g;
    colours.purge_g += g.purge_g;
  }
  CHECK(std::log10(colours.purge_g / colours.part_g) == Approx(1).margin(0.5));
}
