#include "plan/preheat_option.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace forewarm::plan {

namespace {

constexpr double kResolutionS = 1e-3;
constexpr double kRoundingS = 1e-9;
// Changeovers and deadlines that begin at the same moment, by sums of times.
constexpr double kSameMomentS = 1e-6;

// What can make a preheat late between it and its deadline: the changeovers of that time.
struct Uncertainty {
  double changes_s = 0, variance_s2 = 0;
  void add(const ChangeoverTime& c) {
    changes_s += c.to_s - c.from_s;
    variance_s2 += c.variance_s2;
  }
};

using Changeover = std::span<const ChangeoverTime>::iterator;

Changeover first_changeover(const GapContext& context, double after_s) {
  return std::lower_bound(context.changeovers.begin(), context.changeovers.end(),
                          context.start_s + after_s - kSameMomentS,
                          [](const ChangeoverTime& c, double wall_s) { return c.from_s < wall_s; });
}

// The gap and the rules for one floor and one deadline.
class Search {
 public:
  Search(const GapContext& context, const LeadTimeModel& lead_time, double floor_c,
         const GapContext::Deadline& deadline)
      : context_(context),
        lead_time_(lead_time),
        hotend_(hotend_for(context, deadline)),
        floor_c_(floor_c),
        deadline_(deadline) {}

  // The latest moment at which a preheat meets the deadline with its lead; < 0: none. Between two
  // changeovers bisection finds that moment, as what is left falls with time; a changeover that
  // lies behind it takes its uncertainty with it, so the last stretch comes first.
  [[nodiscard]] double latest() const {
    Uncertainty uncertainty;
    auto before = lead_time_.plain() ? context_.changeovers.begin()
                                     : first_changeover(context_, deadline_.after_s);
    double end = deadline_.after_s;
    while (end >= 0) {
      const bool first = before == context_.changeovers.begin();
      const ChangeoverTime* changeover = first ? nullptr : &*(before - 1);
      const double begin =
          first ? 0 : std::clamp(changeover->to_s - context_.start_s, 0.0, deadline_.after_s);
      if (begin <= end && in_time(begin, uncertainty))
        return latest_within(begin, end, uncertainty);
      if (begin <= 0) return -1;
      uncertainty.add(*changeover);
      end = std::min(end, changeover->from_s - context_.start_s);
      --before;
    }
    return -1;
  }

  // Whether a preheat at `t` meets the deadline.
  [[nodiscard]] bool meets(double t) const {
    Uncertainty uncertainty;
    if (!lead_time_.plain()) {
      const double end_s = context_.start_s + deadline_.after_s - kSameMomentS;
      for (auto c = first_changeover(context_, t);
           c != context_.changeovers.end() && c->from_s < end_s; ++c) {
        uncertainty.add(*c);
      }
    }
    return t + lead_s(t, uncertainty, std::numeric_limits<double>::infinity()) <=
           deadline_.after_s + kSameMomentS;
  }

 private:
  // REQUIRES: a preheat at `begin` is in time.
  [[nodiscard]] double latest_within(double begin, double end,
                                     const Uncertainty& uncertainty) const {
    // At its floor, the heater's lead is the same whenever it is preheated.
    const double guess = end - lead_time_.lead_s(hotend_, floor_c_, true, deadline_.temp_c,
                                                 uncertainty.changes_s, uncertainty.variance_s2);
    if (end == deadline_.after_s && guess >= begin && floor_c_ > context_.hotend.ambient_c &&
        std::abs(parked_c(context_, floor_c_, guess) - floor_c_) < thermal::kRoundingC) {
      return guess;
    }
    if (in_time(end, uncertainty)) return end;
    double early = begin;
    double late = end;
    while (late - early > kResolutionS) {
      const double middle = (early + late) / 2;
      (in_time(middle, uncertainty) ? early : late) = middle;
    }
    return early;
  }

  [[nodiscard]] bool in_time(double t, const Uncertainty& uncertainty) const {
    const double has_s = deadline_.after_s + kRoundingS - t;
    return lead_s(t, uncertainty, has_s) <= has_s;
  }

  // The lead that the rules want for a preheat at `t`.
  [[nodiscard]] double lead_s(double t, const Uncertainty& uncertainty, double has_s) const {
    const double to_c = deadline_.temp_c;
    if (starts_below(context_, floor_c_)) {
      thermal::HeaterState heater = driven_to_floor(context_, floor_c_, t);
      const double from_c = heater.temperature_c();
      heater.set_target(to_c);
      return lead_time_.lead_of_s(heater.seconds_until_warm(to_c, !deadline_.window_c), hotend_,
                                  from_c, to_c, uncertainty.changes_s, uncertainty.variance_s2);
    }
    const double from_c = parked_c(context_, floor_c_, t);
    return lead_time_.lead_s(hotend_, from_c, held_at(context_.hotend, floor_c_, from_c), to_c,
                             uncertainty.changes_s, uncertainty.variance_s2, has_s);
  }

  const GapContext& context_;
  const LeadTimeModel& lead_time_;
  thermal::Hotend hotend_;
  double floor_c_;
  const GapContext::Deadline& deadline_;
};

// The last line, no later than `wanted_s`, before which a preheat does. Just before the heater
// reaches its floor, heating takes longer than from there: it cools on in the dead time. So a line
// there may not do although the moment asked for would. 0: none.
double last_line(const GapContext& context, const Search& search, double wanted_s) {
  constexpr int kMaxLines = 100;
  double line_s = context.line_at(wanted_s);
  if (context.preheat_at_s) return line_s;
  for (int i = 0; line_s > 0 && !search.meets(line_s); ++i) {
    line_s = i < kMaxLines ? context.line_at(line_s - kSameMomentS) : 0;
  }
  return line_s;
}

}  // namespace

PreheatOption preheat_option(const GapContext& context, const LeadTimeModel& lead_time,
                             double floor_c) {
  PreheatOption option;
  option.floor_c = floor_c;
  option.asked_s = std::numeric_limits<double>::infinity();
  for (const GapContext::Deadline& deadline : context.deadlines) {
    const double latest = Search(context, lead_time, floor_c, deadline).latest();
    if (latest < option.asked_s) {
      option.asked_s = latest;
      option.deadline = &deadline;
    }
  }
  const double wanted_s = context.preheat_at_s.value_or(option.asked_s);
  option.for_power = context.preheat_at_s.has_value();
  option.in_time = wanted_s > 0;
  option.preheat_s = option.in_time ? wanted_s : 0;
  if (option.in_time && context.line_at) {
    option.preheat_s =
        last_line(context, Search(context, lead_time, floor_c, *option.deadline), wanted_s);
  }
  option.has_line = option.preheat_s > 0;
  return option;
}

}  // namespace forewarm::plan
