#include "review/temperatures.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace forewarm::review {

void Temperatures::part(double, std::uint64_t) { ++parts_; }

void Temperatures::heater(const record::Heater& heater) { head_of_.push_back(heater.head); }

void Temperatures::sample(const record::Sample& sample) {
  const auto at = head_of_[sample.heater];
  if (!at || *at >= heads_.size()) return;
  Head& head = heads_[*at];
  ++head.readings;
  const Reading reading{sample.time_s, sample.temp_c, parts_};
  take(head, {reading, reading});
  while (head.stretches.size() > kMostStretches) {
    // Parts without end leave nothing to be put together: those that come later are left out.
    constexpr double kLongestS = 1e9;
    if (head.length_s > kLongestS) {
      head.stretches.pop_back();
      break;
    }
    head.length_s *= 2;
    const std::vector<Stretch> finer = std::exchange(head.stretches, {});
    for (const Stretch& s : finer) take(head, s);
  }
}

void Temperatures::take(Head& head, const Stretch& more) {
  const auto place = [&](const Stretch& s) { return std::floor(s.low.time_s / head.length_s); };
  if (!head.stretches.empty()) {
    Stretch& last = head.stretches.back();
    if (last.low.part == more.low.part && place(last) == place(more)) {
      if (more.low.temp_c < last.low.temp_c) last.low = more.low;
      if (more.high.temp_c > last.high.temp_c) last.high = more.high;
      return;
    }
  }
  head.stretches.push_back(more);
}

std::vector<Temperatures::Reading> Temperatures::of(std::size_t head) const {
  std::vector<Reading> out;
  for (const Stretch& s : heads_[head].stretches) {
    const bool low_first = s.low.time_s <= s.high.time_s;
    out.push_back(low_first ? s.low : s.high);
    if (s.low.time_s != s.high.time_s) out.push_back(low_first ? s.high : s.low);
  }
  return out;
}

}  // namespace forewarm::review
