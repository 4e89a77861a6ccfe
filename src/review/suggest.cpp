#include "review/suggest.h"

#include <fmt/format.h>

#include <cmath>

#include "rules/keys.h"
#include "rules/paths.h"

namespace forewarm::review {

namespace {

using thermal::Estimate;

class Suggester {
 public:
  Suggester(const Schedule& schedule, const rules::Rules& printed, const rules::Rules& now,
            const Review& review)
      : schedule_(schedule), printed_(printed), now_(now), review_(review) {}

  std::vector<Suggestion> make(const std::vector<record::Calibration>& heaters) {
    for (const record::Calibration& c : heaters) heater(c);
    heater_error(heaters);
    changes();
    pace();
    odds();
    return std::move(out_);
  }

 private:
  Suggestion& add(std::string key, std::optional<double> now, const Estimate& better,
                  std::size_t observations, std::string why) {
    Suggestion& s = out_.emplace_back();
    s.key = std::move(key);
    s.now = now;
    s.better = better;
    s.observations = observations;
    s.why = std::move(why);
    s.certain = observations >= kLeastObservations && std::isfinite(better.sd) &&
                (!now || std::abs(better.value - *now) > 2 * better.sd);
    if (const auto path = rules::parse_path(s.key); path && path->key.limits) {
      if (!path->key.limits->admit(better.value)) {
        s.certain = false;
        s.why += "; it " + path->key.limits->text();
      }
    }
    return s;
  }

  void heater(const record::Calibration& c) {
    if (!c.refused.empty() || !c.heater.head || *c.heater.head >= now_.toolheads.size()) return;
    const rules::Toolhead& head = now_.toolheads[*c.heater.head];
    const std::string why = fmt::format("{} heat-ups and {} cool-downs, rms {:.2f} C", c.heat_ups,
                                        c.cool_downs, c.rms_c);
    for (const record::ToldKey& told : told_keys(c, head.hotend.reached_c)) {
      const auto* key = rules::sections::heater.find(told.key);
      Suggestion& s = add("toolhead." + head.name + ".heater." + told.key, key->number()->get(head),
                          told.value, told.observations, why);
      s.certain = s.certain && c.drive_known;
    }
  }

  // One of all heaters: each about its own mean.
  void heater_error(const std::vector<record::Calibration>& heaters) {
    double variance = 0, freedom = 0;
    std::size_t heat_ups = 0;
    for (const record::Calibration& c : heaters) {
      if (!c.refused.empty() || !c.heater.head || !c.rise_spread) continue;
      const double own = double(c.rise_spread->heat_ups - 1);
      variance += own * c.rise_spread->share * c.rise_spread->share;
      freedom += own;
      heat_ups += c.rise_spread->heat_ups;
    }
    if (heat_ups < kLeastObservations) return;
    const double share = std::sqrt(variance / freedom);
    add("gap.heater_error", now_.gap.heater_error, {share, share / std::sqrt(2 * freedom)},
        heat_ups, fmt::format("spread of {} heat-ups", heat_ups));
  }

  void changes() {
    const PartsOfChanges parts = parts_of_changes(schedule_, printed_, review_);
    for (std::size_t h = 0; h < now_.toolheads.size() && h < parts.park.size(); ++h) {
      const rules::Toolhead& head = now_.toolheads[h];
      const std::string path = "toolhead." + head.name + '.';
      const auto key = [&](const char* name, double now, const PartsOfChanges::Part& part,
                           const char* what) {
        if (part.count == 0) return;
        add(path + name, now, part.seconds, part.count, fmt::format("{} {}", part.count, what));
      };
      key("park_s", head.park_s, parts.park[h], "changes park it");
      key("pick_s", head.pick_s, parts.pick[h], "changes pick it");
      key("exchange_s", head.exchange_s, parts.exchange[h], "exchanges");
    }
    if (const auto& s = parts.park_spread_s) {
      add("gap.park_spread_s", now_.gap.park_spread_s, s->seconds, s->count,
          "spread of changes without an exchange");
    }
    if (const auto& s = parts.exchange_spread_s) {
      add("gap.exchange_spread_s", now_.gap.exchange_spread_s, s->seconds, s->count,
          "spread of exchanges in a toolhead that stays");
    }
  }

  void pace() {
    const Scale& scale = review_.scale;
    if (scale.stretches < 2) return;
    const double before = printed_.motion.time_scale;
    add("motion.time_scale", now_.motion.time_scale,
        {before * scale.factor.value, before * scale.factor.sd}, scale.stretches,
        fmt::format("{} stretches without a change", scale.stretches));
    add("gap.time_error", now_.gap.time_error,
        {scale.spread, scale.spread / std::sqrt(2 * std::max(scale.worth - 1, 0.1))},
        scale.stretches, "their spread");
  }

  void odds() {
    for (const Odds& o : review_.odds) {
      std::string key = "feeder.fault_odds";
      std::optional<double> now = now_.feeder.fault_odds;
      if (o.head) {
        if (*o.head >= now_.toolheads.size()) continue;
        key = "toolhead." + now_.toolheads[*o.head].name + ".fault_odds";
        now = now_.toolheads[*o.head].fault_odds;
      }
      const double n = double(o.changes) + 1;
      const Estimate better{o.value, std::sqrt(o.value * (1 - o.value) / n)};
      Suggestion& s = add(key, now, better, o.changes,
                          fmt::format("{} stops in {}, {:.5f} to {:.5f}", o.stops, o.changes,
                                      o.interval.low, o.interval.high));
      s.certain = s.certain && (o.stops > 0 || o.changes >= kLeastWithoutStop);
    }
  }

  const Schedule& schedule_;
  const rules::Rules& printed_;
  const rules::Rules& now_;
  const Review& review_;
  std::vector<Suggestion> out_;
};

}  // namespace

std::vector<Suggestion> suggest(const Schedule& schedule, const rules::Rules& printed,
                                const rules::Rules& now, const Review& review,
                                const std::vector<record::Calibration>& heaters) {
  return Suggester(schedule, printed, now, review).make(heaters);
}

}  // namespace forewarm::review
