#include "rules/rules.h"

#include <algorithm>
#include <array>
#include <charconv>

namespace forewarm::rules {

namespace {

std::string temperature_text(double temp_c) {
  std::array<char, 400> text{};  // any number has room in it
  const auto written =
      std::to_chars(text.data(), text.data() + text.size(), temp_c, std::chars_format::fixed, 2);
  std::string temp(text.data(), written.ptr);
  while (temp.back() == '0') temp.pop_back();
  if (temp.back() == '.') temp.pop_back();
  return temp;
}

}  // namespace

std::string filled_in(std::string_view pattern, int tool, int heater, double temp_c,
                      double window_c) {
  const std::string temp = temperature_text(temp_c);
  const std::string least = temperature_text(std::max(0.0, temp_c - window_c));
  std::string out;
  while (!pattern.empty()) {
    const auto fill = [&](std::string_view name, const std::string& value) {
      if (pattern.substr(0, name.size()) != name) return false;
      out += value;
      pattern.remove_prefix(name.size());
      return true;
    };
    if (fill("{tool}", std::to_string(tool)) || fill("{heater}", std::to_string(heater)) ||
        fill("{temp}", temp) || fill("{least}", least)) {
      continue;
    }
    out += pattern.front();
    pattern.remove_prefix(1);
  }
  return out;
}

std::string echo_line(std::string_view pattern, std::uint64_t number, std::string_view what) {
  constexpr std::string_view kText = "{text}";
  std::string out;
  for (;;) {
    const std::size_t at = pattern.find(kText);
    out.append(pattern.substr(0, at));
    if (at == std::string_view::npos) return out;
    out.append("forewarm ").append(std::to_string(number)).append(" ").append(what);
    pattern.remove_prefix(at + kText.size());
  }
}

const std::string& at_last_use(const Toolhead& head, const Filament& filament) {
  return filament.at_last_use.empty() ? head.at_last_use : filament.at_last_use;
}

double exchange_seconds(const Toolhead& head, const Filament& incoming) {
  return incoming.exchange_s.value_or(head.exchange_s);
}

double exchange_odds(const Feeder& feeder, const Filament& incoming) {
  const double p = feeder.fault_odds.value_or(0);
  const double q = incoming.fault_odds.value_or(0);
  return q > 0 ? 1 - (1 - p) * (1 - q) : p;  // p itself, not what rounding makes of it
}

double exchange_temperature_c(const Filament& outgoing, double printed_c, const Filament& incoming,
                              double work_c) {
  return std::max(
      {outgoing.exchange_c.value_or(printed_c), work_c, incoming.exchange_c.value_or(work_c)});
}

bool Places::name(int tool, std::size_t head) const {
  return std::find(tools.begin(), tools.end(), tool) != tools.end() ||
         std::find(heads.begin(), heads.end(), head) != heads.end();
}

bool Sequence::makes_up() const {
  return std::any_of(steps.begin(), steps.end(),
                     [](const Step& s) { return s.action == Step::Action::make_up; });
}

Filament Rules::filament(int tool) const {
  for (const Filament& filament : filaments) {
    if (filament.tool == tool) return filament;
  }
  Filament plain;
  plain.tool = tool;
  plain.name.append("T").append(std::to_string(tool));  // operator+ draws a false warning (GCC 12)
  return plain;
}

const Sequence* Rules::sequence(std::string_view name) const {
  const auto it =
      std::find_if(steps.begin(), steps.end(), [&](const Sequence& s) { return s.name == name; });
  return name.empty() || it == steps.end() ? nullptr : &*it;
}

Rules Rules::with_filaments_moved(const std::map<int, int>& map) const {
  Rules out = *this;
  out.filaments.clear();
  std::map<int, int> from;  // by where it goes
  for (const auto& [before, after] : map) from.emplace(after, before);
  for (const auto& [after, before] : from) {
    // Those without a [[filament]] have defaults, but keep the name that they are known by.
    Filament f = filament(before);
    f.tool = after;
    out.filaments.push_back(std::move(f));
  }
  for (const Filament& f : filaments) {
    if (!map.contains(f.tool) && !from.contains(f.tool)) out.filaments.push_back(f);
  }
  return out;
}

bool Rules::gives_odds() const {
  return feeder.fault_odds ||
         std::any_of(toolheads.begin(), toolheads.end(),
                     [](const Toolhead& h) { return h.fault_odds.has_value(); }) ||
         gives_filament_odds();
}

bool Rules::gives_filament_odds() const {
  return std::any_of(filaments.begin(), filaments.end(),
                     [](const Filament& f) { return f.fault_odds.has_value(); });
}

std::optional<std::size_t> Rules::toolhead_of(int tool) const {
  for (std::size_t i = 0; i < toolheads.size(); ++i) {
    const auto& tools = toolheads[i].tools;
    if (std::find(tools.begin(), tools.end(), tool) != tools.end()) return i;
  }
  return std::nullopt;
}

}  // namespace forewarm::rules
