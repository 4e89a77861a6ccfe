#include "check/dialect.h"

#include <re2/re2.h>

#include <algorithm>
#include <cmath>

namespace forewarm::check {

namespace {

struct Template {
  std::unique_ptr<RE2> re;
  int tool = 0, heater = 0, temp = 0, least = 0;  // groups
};

Template template_of(std::string_view text) {
  Template t;
  std::string pattern = "^";
  int groups = 0;
  while (!text.empty()) {
    const auto fill = [&](std::string_view name, std::string_view group, int& which) {
      if (text.substr(0, name.size()) != name) return false;
      pattern += group;
      which = ++groups;
      text.remove_prefix(name.size());
      return true;
    };
    if (fill("{tool}", "(\\d{1,9})", t.tool) || fill("{heater}", "(\\d{1,9})", t.heater) ||
        fill("{temp}", "(\\d{1,9}(?:\\.\\d{1,9})?)", t.temp) ||
        fill("{least}", "(\\d{1,9}(?:\\.\\d{1,9})?)", t.least)) {
      continue;
    }
    pattern += RE2::QuoteMeta(re2::StringPiece(text.data(), 1));
    text.remove_prefix(1);
  }
  RE2::Options options;
  options.set_log_errors(false);
  options.set_encoding(RE2::Options::EncodingLatin1);
  t.re = std::make_unique<RE2>(pattern + "$", options);
  return t;
}

// `text` stands for itself, but {text} for all that an echo may say.
std::unique_ptr<RE2> echo_pattern(std::string_view text) {
  constexpr std::string_view kText = "{text}";
  constexpr std::string_view kSays = "forewarm \\d{1,9} (?:start|leave|there|ready|end)";
  std::string pattern;
  for (std::size_t at = 0; at != std::string_view::npos;) {
    at = text.find(kText);
    pattern += RE2::QuoteMeta(re2::StringPiece(text.data(), std::min(at, text.size())));
    if (at == std::string_view::npos) break;
    pattern += kSays;
    text.remove_prefix(at + kText.size());
  }
  RE2::Options options;
  options.set_log_errors(false);
  options.set_encoding(RE2::Options::EncodingLatin1);
  return std::make_unique<RE2>(pattern, options);
}

}  // namespace

struct Dialect::Impl {
  Template set, wait;
  double window_c = 0;
  std::vector<std::string> given;
  std::vector<std::unique_ptr<RE2>> echo;
};

Dialect::Dialect(const rules::Rules& rules) : impl_(std::make_unique<Impl>()) {
  impl_->set = template_of(rules.dialect.set);
  impl_->wait = template_of(rules.dialect.wait);
  impl_->window_c = rules.dialect.wait_window_c;
  impl_->given = rules.dialect.job_start;
  impl_->given.insert(impl_->given.end(), rules.dialect.job_end.begin(),
                      rules.dialect.job_end.end());
  for (const std::string& line : rules.dialect.echo) {
    impl_->echo.push_back(echo_pattern(bare(line)));
  }
  for (const rules::Sequence& s : rules.steps) {
    for (const rules::Step& step : s.steps) {
      if (step.action == rules::Step::Action::gcode) impl_->given.push_back(step.gcode);
    }
  }
}
Dialect::~Dialect() = default;

std::optional<Written> Dialect::target(std::string_view code) const {
  code = bare(code);
  for (const bool waits : {true, false}) {
    const Template& t = waits ? impl_->wait : impl_->set;
    if (!t.re->ok()) continue;
    re2::StringPiece groups[8];
    const int count = t.re->NumberOfCapturingGroups() + 1;
    if (count > 8 || !t.re->Match(re2::StringPiece(code.data(), code.size()), 0, code.size(),
                                  RE2::ANCHOR_BOTH, groups, count)) {
      continue;
    }
    Written w;
    w.waits = waits;
    if (t.tool > 0) w.tool = std::stoi(groups[t.tool].as_string());
    if (t.heater > 0) w.heater = std::stoi(groups[t.heater].as_string());
    if (t.temp > 0) w.temp_c = std::stod(groups[t.temp].as_string());
    if (t.least > 0) {
      constexpr double kRoundingC = 0.011;  // both have two decimals
      const double least_c = std::stod(groups[t.least].as_string());
      if (std::abs(std::max(0.0, w.temp_c - impl_->window_c) - least_c) > kRoundingC) continue;
      w.for_least = true;
    }
    return w;
  }
  return std::nullopt;
}

bool Dialect::given(std::string_view code) const {
  code = bare(code);
  for (const std::string& line : impl_->given) {
    if (bare(line) == code) return true;
  }
  return std::any_of(impl_->echo.begin(), impl_->echo.end(), [&](const auto& echo) {
    return RE2::FullMatch(re2::StringPiece(code.data(), code.size()), *echo);
  });
}

std::string_view bare(std::string_view code) {
  const auto space = [](char c) { return c == ' ' || c == '\t'; };
  while (!code.empty() && space(code.front())) code.remove_prefix(1);
  if (!code.empty() && (code.front() == 'N' || code.front() == 'n')) {
    std::size_t i = 1;
    while (i < code.size() && code[i] >= '0' && code[i] <= '9') ++i;
    if (i > 1) code.remove_prefix(i);
  }
  const auto star = code.rfind('*');
  if (star != std::string_view::npos &&
      code.find_first_not_of("0123456789 \t", star + 1) == std::string_view::npos) {
    code = code.substr(0, star);
  }
  while (!code.empty() && space(code.front())) code.remove_prefix(1);
  while (!code.empty() && space(code.back())) code.remove_suffix(1);
  return code;
}

}  // namespace forewarm::check
