#include "review/journal.h"

#include <algorithm>
#include <limits>

namespace forewarm::review {

namespace {

// A heater that waits for a change is looked at over so long.
constexpr double kRecentS = 180;
// Common practice, no source: firmware waits until a heater is within a degree or two.
constexpr double kWarmWithinC = 2;

}  // namespace

Journal::Journal(const Schedule& schedule) : schedule_(schedule), recent_(schedule.heads) {
  for (std::size_t i = 0; i < schedule.changes.size(); ++i) {
    if (schedule.changes[i].number) change_of_.emplace(*schedule.changes[i].number, i);
  }
}

void Journal::part(double, std::uint64_t) {
  ++parts_;
  for (auto& readings : recent_) readings.clear();
}

void Journal::heater(const record::Heater& heater) { head_of_.push_back(heater.head); }

void Journal::sample(const record::Sample& sample) {
  const auto head = head_of_[sample.heater];
  if (!head || *head >= recent_.size()) return;
  temperatures = true;
  auto& readings = recent_[*head];
  readings.push_back({sample.time_s, sample.temp_c});
  while (readings.front().time_s < sample.time_s - kRecentS) readings.pop_front();
}

Moment Journal::moment(double time_s) const {
  Moment out{time_s, parts_, {}};
  for (const auto& readings : recent_) {
    const bool known = !readings.empty() && readings.back().time_s > time_s - kRecentS;
    out.temp_c.push_back(known ? readings.back().temp_c : std::numeric_limits<double>::quiet_NaN());
  }
  return out;
}

void Journal::echo(const record::Echo& echo) {
  Heard& h = heard.emplace_back(Heard{echo, moment(echo.time_s), std::nullopt});
  if (echo.what != record::Echo::What::leave) return;
  const auto change = change_of_.find(echo.number);
  if (change == change_of_.end()) return;
  const PlannedChange& c = schedule_.changes[change->second];
  if (c.before_c <= 0 || c.head >= recent_.size()) return;
  const auto& readings = recent_[c.head];
  for (auto r = readings.rbegin(); r != readings.rend(); ++r) {
    if (r->temp_c >= c.before_c - kWarmWithinC) continue;
    h.warm_since_s = r->time_s;
    return;
  }
}

void Journal::stop(const record::Stop& stop) {
  const bool open = !stops.empty() && !stops.back().to_s && stops.back().part == parts_;
  if (!stop.goes_on) {
    if (!open) stops.push_back({stop.time_s, std::nullopt, parts_});
  } else if (open) {
    stops.back().to_s = stop.time_s;
  }
}

void Journal::select(const record::Select& select) { selected.push_back({select, parts_}); }

bool Journal::same_as(const Journal& other) const {
  if (heard.empty() && selected.empty()) return false;
  const auto said = [](const Heard& a, const Heard& b) {
    return a.echo.time_s == b.echo.time_s && a.echo.what == b.echo.what &&
           a.echo.number == b.echo.number;
  };
  const auto sent = [](const Selected& a, const Selected& b) {
    return a.select.time_s == b.select.time_s && a.select.tool == b.select.tool;
  };
  return std::equal(heard.begin(), heard.end(), other.heard.begin(), other.heard.end(), said) &&
         std::equal(selected.begin(), selected.end(), other.selected.begin(), other.selected.end(),
                    sent);
}

}  // namespace forewarm::review
