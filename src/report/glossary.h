// The words of the reports, each with what it means: for `explain`.
//
// Contract: constant data, sorted by name; every word that heads a column of a table is there, and
// every name of a row that the program chooses. Names are in lower case.
#pragma once

#include <span>
#include <string_view>

namespace forewarm::report {

struct GlossaryWord {
  std::string_view name;     // "hot idle"
  std::string_view meaning;  // sentences
};

[[nodiscard]] std::span<const GlossaryWord> glossary();

}  // namespace forewarm::report
