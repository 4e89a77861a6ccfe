// Rule texts, loaded or refused, for tests.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "rules/load.h"

namespace forewarm::test {

// The least a rule file can be, and its parts.
inline const std::string kVersion = "version = 1\n";
inline const std::string kToolhead = R"([[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";
inline const std::string kMinimal = kVersion + kToolhead;

inline std::string file(const std::string& path) {
  std::ifstream in(std::string(FOREWARM_SOURCE_DIR) + '/' + path, std::ios::binary);
  REQUIRE(in);
  return {std::istreambuf_iterator<char>(in), {}};
}

inline std::string repeated(const std::string& text, int times) {
  std::string out;
  for (int i = 0; i < times; ++i) out += text;
  return out;
}

inline rules::Rules accepted(const std::string& text) {
  auto result = rules::load(text, "rules.toml");
  if (!result) FAIL(render(result.error()) << "\nin:\n" << text);
  return *result;
}

inline std::string refusal(const std::string& text) {
  const auto result = rules::load(text, "rules.toml");
  if (result) return "accepted";
  CHECK(result.error().kind == Error::Kind::rules);
  return render(result.error());
}

struct Case {
  std::string text, refusal;
};

inline void check_all(const std::string& before, const std::vector<Case>& cases,
                      const std::string& after = "") {
  for (const Case& c : cases) {
    INFO(before << c.text << after);
    CHECK(refusal(before + c.text + after) == c.refusal);
  }
}

// A rule file that is wrong where its @ stands, which is not part of it.
struct Wrong {
  std::string text, message, hint = {};
};

inline void check_at(const std::string& before, const std::vector<Wrong>& cases) {
  for (const Wrong& c : cases) {
    std::string text = before + c.text;
    const std::size_t at = text.find('@');
    REQUIRE(at != std::string::npos);
    text.erase(at, 1);
    const std::size_t start = at == 0 ? 0 : text.rfind('\n', at - 1) + 1;  // npos + 1 is 0
    const std::size_t column = at - start;
    const auto line = std::count(text.begin(), text.begin() + std::ptrdiff_t(at), '\n') + 1;
    INFO(text);
    CHECK(refusal(text) ==
          "rules.toml:" + std::to_string(line) + ':' + std::to_string(column + 1) + ": " +
              c.message + "\n  " + text.substr(start, text.find('\n', start) - start) + "\n  " +
              std::string(column, ' ') + '^' + (c.hint.empty() ? "" : "\n  hint: " + c.hint));
  }
}

}  // namespace forewarm::test
