#include "report/sweep.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>

#include "rules/words.h"

namespace forewarm::report {

namespace {

Error usage(std::string_view text, const std::string& message, std::string hint = {}) {
  return {Error::Kind::usage, "--sweep " + printable(text) + ": " + message, "", 0, 0, "",
          std::move(hint)};
}

constexpr const char* kForm = "--sweep KEY=FROM:TO:STEP, as in off_over_s=300:3600:300";

std::optional<double> number_of(std::string_view word) {
  double value = 0;
  const auto [end, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  if (error != std::errc() || end != word.data() + word.size()) return std::nullopt;
  if (!std::isfinite(value)) return std::nullopt;
  return value + 0.0;  // -0 is 0
}

// 0.1 + 2 * 0.1 is 0.3 to whoever asked for it.
double as_written(double value) {
  const std::string text = fmt::format("{:.14g}", value);
  return number_of(text).value_or(value);
}

// Null, if there is no number of [gap] of that name or path.
const rules::Key<rules::GapSettings>* key_of(std::string_view word) {
  const rules::Section<rules::GapSettings>& gap = rules::sections::gap;
  if (word.starts_with(gap.name) && word.substr(gap.name.size()).starts_with('.')) {
    word.remove_prefix(gap.name.size() + 1);
  }
  const auto* key = gap.find(word);
  return key == nullptr || key->number() == nullptr ? nullptr : key;
}

Error unknown_key(std::string_view text, std::string_view word) {
  std::vector<std::string_view> known;
  std::string all;
  for (const auto& key : rules::sections::gap.keys) {
    if (key.number() == nullptr) continue;
    known.push_back(key.name);
    all += (all.empty() ? "" : ", ") + std::string(key.name);
  }
  const auto slip = rules::meant(word, known);
  return usage(text, "no number of [gap] is called \"" + printable(word) + "\"",
               slip ? "did you mean \"" + *slip + "\"?" : "there are: " + all);
}

// How many values the sweep has; as a number that may be too large to count to.
double count_of(double from, double to, double step) {
  return std::floor((to - from) / step + 1e-9) + 1;
}

std::string too_many(double count) {
  const std::string shown = count < 1e6 ? fmt::format("{:.0f}", count) : "more than a million";
  return fmt::format("{} values; no more than {} at once", shown, kMaxSwept);
}

}  // namespace

rules::Policy Sweep::policy() const {
  return key->name.starts_with("timer_") ? rules::Policy::timers : rules::Policy::lookahead;
}

Result<Sweep> parse_sweep(std::string_view text) {
  const std::size_t equals = text.find('=');
  if (equals == std::string_view::npos) return usage(text, "which values?", kForm);
  const std::string_view word = text.substr(0, equals);
  Sweep out;
  out.key = key_of(word);
  if (out.key == nullptr) return unknown_key(text, word);

  std::vector<double> numbers;
  std::string_view rest = text.substr(equals + 1);
  for (bool more = true; more;) {
    const std::string_view part = rest.substr(0, rest.find(':'));
    more = part.size() < rest.size();
    rest.remove_prefix(part.size() + (more ? 1 : 0));
    const auto value = number_of(part);
    if (!value) return usage(text, "\"" + printable(part) + "\" is no number", kForm);
    numbers.push_back(*value);
    if (numbers.size() > 3) break;
  }
  if (numbers.size() != 1 && numbers.size() != 3) {
    return usage(text, "neither one value nor FROM:TO:STEP", kForm);
  }
  const double from = numbers.front();
  const double to = numbers.size() == 3 ? numbers[1] : from;
  for (const double end : {from, to}) {
    const rules::Limits limits = out.key->number()->limits;
    if (!limits.admit(end)) {
      return usage(text, std::string(out.key->name) + " " + limits.text() + ", not " +
                             fmt::format("{}", end));
    }
  }
  if (numbers.size() == 1) {
    out.values.push_back(from);
    return out;
  }
  const double step = numbers[2];
  if (step <= 0) return usage(text, "the step must be more than 0");
  if (from > to) {
    return usage(text, "goes from more to less",
                 fmt::format("--sweep {}={}:{}:{}", word, to, from, step));
  }
  const double count = count_of(from, to, step);
  if (count > double(kMaxSwept)) return usage(text, too_many(count), "take a longer step");
  for (std::size_t i = 0; i < std::size_t(count); ++i) {
    out.values.push_back(std::min(to, as_written(from + double(i) * step)));
  }
  out.values.erase(std::unique(out.values.begin(), out.values.end()), out.values.end());
  return out;
}

Result<std::vector<Sweep>> parse_sweeps(std::span<const std::string> texts) {
  std::vector<Sweep> out;
  std::size_t count = 0;
  for (const std::string& text : texts) {
    auto sweep = parse_sweep(text);
    if (!sweep) return std::move(sweep.error());
    count += sweep->values.size();
    if (count > kMaxSwept) {
      return usage(text, "with the sweeps before it, " + too_many(double(count)),
                   "take longer steps, or compare more than once");
    }
    const auto same = std::find_if(out.begin(), out.end(),
                                   [&](const Sweep& other) { return other.key == sweep->key; });
    if (same == out.end()) {
      out.push_back(std::move(*sweep));
      continue;
    }
    auto& values = same->values;
    values.insert(values.end(), sweep->values.begin(), sweep->values.end());
    std::sort(values.begin(), values.end());
    values.erase(std::unique(values.begin(), values.end()), values.end());
  }
  return out;
}

}  // namespace forewarm::report
