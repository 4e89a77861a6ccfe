#include "rules/gap_keys.h"

#include "rules/reader.h"
#include "rules/sections.h"

#include <algorithm>
#include <array>
#include <vector>

namespace forewarm::rules {

namespace {

constexpr Limits kTemperatureDrop{0, 1000};
constexpr Limits kError{0, 0.5};

constexpr std::array kKeys{
    GapKey{"hold_drop_c", kTemperatureDrop, [](GapSettings& g, double v) { g.hold_drop_c = v; }},
    GapKey{"off_over_s", kAtLeastZero,
           [](GapSettings& g, double v) {
             g.off_over_s = v;
             g.off_over_best = false;
           }},
    GapKey{"hot_idle_cost_per_h", kAtLeastZero,
           [](GapSettings& g, double v) { g.hot_idle_cost_per_h = v; }},
    GapKey{"energy_cost_per_kwh", kAtLeastZero,
           [](GapSettings& g, double v) { g.energy_cost_per_kwh = v; }},
    GapKey{"restart_cost", kAtLeastZero, [](GapSettings& g, double v) { g.restart_cost = v; }},
    GapKey{"timer_standby_s", kAtLeastZero,
           [](GapSettings& g, double v) { g.timer_standby_s = v; }},
    GapKey{"timer_off_s", kAtLeastZero, [](GapSettings& g, double v) { g.timer_off_s = v; }},
    GapKey{"on_time", {0.5, 0.999999}, [](GapSettings& g, double v) { g.on_time = v; }},
    GapKey{"time_error", kError, [](GapSettings& g, double v) { g.time_error = v; }},
    GapKey{"heater_error", kError, [](GapSettings& g, double v) { g.heater_error = v; }},
    GapKey{"exchange_spread_s", kMachineSeconds,
           [](GapSettings& g, double v) { g.exchange_spread_s = v; }},
    GapKey{"park_spread_s", kMachineSeconds, [](GapSettings& g, double v) { g.park_spread_s = v; }},
    GapKey{"lead_stretch", {0, 100}, [](GapSettings& g, double v) { g.lead_stretch = v; }},
    GapKey{"lead_extra_s", kMachineSeconds, [](GapSettings& g, double v) { g.lead_extra_s = v; }},
};

}  // namespace

std::span<const GapKey> gap_keys() { return kKeys; }

const GapKey* gap_key(std::string_view name) {
  const auto* at = std::find_if(kKeys.begin(), kKeys.end(),
                                [name](const GapKey& key) { return key.name == name; });
  return at == kKeys.end() ? nullptr : at;
}

void read_gap(const Table& root, GapSettings& into) {
  std::vector<std::string_view> known{"policy"};
  for (const GapKey& key : kKeys) known.push_back(key.name);
  const auto t = root.table("gap", "[gap]", std::move(known));
  if (!t) return;
  const auto policy = choice<Policy>(*t, "policy",
                                     {{"lookahead", Policy::lookahead},
                                      {"timers", Policy::timers},
                                      {"hold", Policy::hold},
                                      {"as-sliced", Policy::as_sliced}});
  if (policy) into.policy = *policy;
  for (const GapKey& key : kKeys) {
    const toml::node* node = t->find(key.name);
    if (node == nullptr) continue;
    if (const auto* word = node->as_string(); word != nullptr && key.name == "off_over_s") {
      if (word->get() == "best") {
        into.off_over_best = true;
      } else {
        t->findings().add(position_of(*node),
                          "off_over_s must be a number or \"best\", not " + quoted(word->get()));
      }
      continue;
    }
    double value = 0;
    if (t->number(key.name, key.limits, value)) key.set(into, value);
  }
}

}  // namespace forewarm::rules
