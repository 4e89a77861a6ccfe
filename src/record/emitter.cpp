#include "record/emitter.h"

#include <algorithm>
#include <charconv>

#include "rules/limits.h"

namespace forewarm::record {

namespace {

std::optional<int> whole_number(std::string_view text) {
  int value = 0;
  const char* const end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  if (error != std::errc() || stop != end || value < 0 || value > rules::kMaxIndex) {
    return std::nullopt;
  }
  return value;
}

}  // namespace

std::optional<std::size_t> Emitter::add(Heater heater) {
  if (summary_.heaters.size() >= kMostHeaters) return std::nullopt;
  if (heater.head) heater.name = rules_.toolheads[*heater.head].name;
  if (heater.head && !heater.index && !rules_.toolhead_per_tool_seen) {
    heater.index = rules_.toolheads[*heater.head].heater_index;
  }
  listener_.heater(heater);
  summary_.heaters.push_back(std::move(heater));
  last_.emplace_back();
  return summary_.heaters.size() - 1;
}

std::optional<std::size_t> Emitter::head_of_heater(int number) const {
  if (rules_.toolhead_per_tool_seen) return std::nullopt;
  for (std::size_t h = 0; h < rules_.toolheads.size(); ++h) {
    if (rules_.toolheads[h].heater_index == number) return h;
  }
  return std::nullopt;
}

std::optional<std::size_t> Emitter::heater_number(int number) {
  if (number < 0 || number > rules::kMaxIndex) return std::nullopt;
  if (std::size_t(number) >= of_number_.size()) of_number_.resize(std::size_t(number) + 1);
  std::optional<std::size_t>& known = of_number_[std::size_t(number)];
  if (!known) {
    known = add({"heater " + std::to_string(number), number, head_of_heater(number)});
  }
  return known;
}

std::optional<std::size_t> Emitter::heater_of_tool(int tool) {
  if (rules_.toolhead_per_tool_seen) return heater_number(tool);
  const auto head = rules_.toolhead_of(tool);
  if (!head) return std::nullopt;
  return heater_number(rules_.toolheads[*head].heater_index);
}

std::optional<std::size_t> Emitter::heater_named(std::string_view name) {
  if (const auto number = whole_number(name)) return heater_number(*number);
  for (std::size_t h = 0; h < rules_.toolheads.size(); ++h) {
    if (rules_.toolheads[h].name == name && !rules_.toolhead_per_tool_seen) {
      return heater_number(rules_.toolheads[h].heater_index);
    }
  }
  for (std::size_t i = 0; i < summary_.heaters.size(); ++i) {
    if (!summary_.heaters[i].index && summary_.heaters[i].name == name) return i;
  }
  return add({std::string(name)});
}

bool Emitter::has_one_heater() const { return rules_.toolheads.size() == 1; }

std::optional<std::size_t> Emitter::only_heater() {
  if (has_one_heater() && !rules_.toolhead_per_tool_seen) {
    return heater_number(rules_.toolheads.front().heater_index);
  }
  if (has_one_heater()) return heater_number(0);
  return heater_named("heater");
}

void Emitter::time(double raw_s, TimeKind kind, std::uint64_t line) {
  const TimeScale::Now now = scale_.at(raw_s, kind);
  now_s_ = now.time_s;
  if (now.new_part) {
    ++summary_.parts;
    std::fill(last_.begin(), last_.end(), std::nullopt);
    last_echo_.reset();
    last_stop_.reset();
    listener_.part(now_s_, line);
  }
  summary_.from_s = std::min(summary_.from_s, now_s_);
  summary_.to_s = std::max(summary_.to_s, now_s_);
}

bool Emitter::sample(std::size_t heater, double temp_c, std::optional<double> target_c,
                     std::optional<double> drive, std::uint64_t line) {
  if (!(temp_c >= kColdestC && temp_c <= kHottestC)) {
    ++summary_.missing;
    return true;
  }
  const Sample now{
      now_s_, heater, temp_c, target_c, drive, line, summary_.form == Summary::Form::text};
  std::optional<Sample>& last = last_[heater];
  if (last && last->time_s == now_s_ && last->temp_c == temp_c && last->target_c == target_c &&
      last->drive == drive) {
    return false;
  }
  last = now;
  ++summary_.samples;
  listener_.sample(now);
  return true;
}

bool Emitter::echo(std::uint64_t number, Echo::What what, std::uint64_t line) {
  if (last_echo_ && last_echo_->number == number && last_echo_->what == what) {
    // A print that was broken off before its first change, and begun anew.
    const bool anew = what == Echo::What::start && now_s_ > last_echo_->time_s + kBackS;
    if (!anew) return false;
  }
  if (what == Echo::What::start) ++prints_;
  last_echo_ = Echo{now_s_, number, what, prints_, line};
  ++summary_.echoes;
  listener_.echo(*last_echo_);
  return true;
}

bool Emitter::stop(bool goes_on, std::uint64_t line) {
  if (last_stop_ == goes_on) return false;
  last_stop_ = goes_on;
  ++summary_.stops;
  listener_.stop({now_s_, goes_on, line});
  return true;
}

void Emitter::select(int tool, std::uint64_t line) {
  ++summary_.selects;
  listener_.select({now_s_, tool, line});
}

}  // namespace forewarm::record
