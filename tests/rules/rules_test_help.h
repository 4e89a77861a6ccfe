// Rule texts, loaded or refused, for tests.
#pragma once

#include <algorithm>
#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "rules/load.h"

namespace forewarm::test {

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
