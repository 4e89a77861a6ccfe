// Rule texts, loaded or refused, for tests.
#pragma once

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

}  // namespace forewarm::test
