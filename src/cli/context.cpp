#include "cli/context.h"

#include <spdlog/sinks/stdout_color_sinks.h>
#include <spdlog/spdlog.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstdlib>
#include <memory>

#include "plan/lead_time.h"
#include "report/format.h"

namespace forewarm::cli {

int exit_code(const Error& error) {
  switch (error.kind) {
    case Error::Kind::usage:
    case Error::Kind::rules:
      return kUsage;
    case Error::Kind::refused:
      return kRefused;
    case Error::Kind::io:
      return kIo;
    case Error::Kind::internal:
      break;
  }
  return kBug;
}

Context::Context(const Common& common) : common_(common) {
  spdlog::color_mode mode = spdlog::color_mode::automatic;
  const char* no_color = std::getenv("NO_COLOR");
  if (no_color != nullptr && *no_color != '\0') mode = spdlog::color_mode::never;
  if (common.color == "always") mode = spdlog::color_mode::always;
  if (common.color == "never") mode = spdlog::color_mode::never;
  auto sink = std::make_shared<spdlog::sinks::stderr_color_sink_st>(mode);
  auto logger = std::make_shared<spdlog::logger>("forewarm", std::move(sink));
  logger->set_pattern("forewarm: %^%l%$: %v");
  spdlog::set_default_logger(std::move(logger));
}

int Context::fail(const Error& error) const {
  spdlog::error("{}", render(error));
  return exit_code(error);
}

void Context::note(std::string_view text) const {
  if (!common_.quiet) spdlog::info("{}", text);
}

void Context::detail(std::string_view text) const {
  if (common_.verbose) note(text);
}

void Context::warn(std::string_view text) const { spdlog::warn("{}", text); }

bool Context::progress_wanted() const { return !common_.quiet && !unwatched_ && isatty(2) != 0; }

Context Context::unwatched() const {
  Context out = *this;
  out.unwatched_ = true;
  return out;
}

std::size_t Context::text_width() const {
  constexpr std::size_t kLeast = 40, kMost = 1000;  // a width of less can be no more than a mistake
  std::size_t width = 0;
  if (const char* columns = std::getenv("COLUMNS"); columns != nullptr) {
    const std::string_view text(columns);
    const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), width);
    if (code != std::errc{} || end != text.data() + text.size()) width = 0;
  }
  winsize terminal{};
  if (width == 0 && ioctl(1, TIOCGWINSZ, &terminal) == 0) width = terminal.ws_col;
  return width == 0 ? report::kTextWidth : std::clamp(width, kLeast, kMost);
}

bool Context::colours_text() const {
  if (common_.color != "auto") return common_.color == "always";
  const char* no_color = std::getenv("NO_COLOR");
  if (no_color != nullptr && *no_color != '\0') return false;
  const char* terminal = std::getenv("TERM");
  const bool plain = terminal == nullptr || std::string_view(terminal) == "dumb";
  return !plain && isatty(1) != 0;
}

Result<rules::Rules> Context::rules(Guesses guesses, const std::string& instead) const {
  const auto set = settings();
  if (!set) return set.error();
  return rules_of(guesses, instead.empty() ? common_.rules_file : instead, *set);
}

Result<rules::Rules> Context::rules_of(Guesses guesses, const std::string& named,
                                       const std::vector<rules::Setting>& settings) const {
  auto rules = rules_in_force(named, guesses, settings);
  if (!rules || unwatched_) return rules;
  std::string which = rules->built_in ? "rules: built-in guesses, not measured on this machine"
                                      : "rules: " + printable(rules->file, 4096);
  for (const std::string& s : rules->settings) which += ", " + printable(s, 4096);
  note(which);
  if (const std::string bounded = plan::bounded_lead(rules->gap); !bounded.empty()) note(bounded);
  return rules;
}

Result<std::vector<rules::Setting>> Context::settings() const {
  return parsed_settings(common_.settings);
}

Result<std::vector<rules::Setting>> parsed_settings(const std::vector<std::string>& texts) {
  std::vector<rules::Setting> out;
  for (const std::string& text : texts) {
    auto setting = rules::parse_setting(text);
    if (!setting) {
      Error e{Error::Kind::usage, "--set " + printable(text) + ": which key, and which value?"};
      e.hint = "--set PATH=VALUE, as in gap.off_over_s=900 or toolhead.ash.park_s=8";
      return e;
    }
    out.push_back(std::move(*setting));
  }
  return out;
}

std::string Context::rule_file() const { return rule_file_in_force(common_.rules_file); }

}  // namespace forewarm::cli
