// Typed, located access to parsed TOML, for the loader; and the scan that comes before parsing.
//
// Contract: nothing here throws or stops at the first mistake. Every mistake goes to Diagnostics,
// which keeps the one that stands first in the file; the target of a wrong value stays as it was.
// Positions are toml++'s: lines and characters from 1. Internal to rules/.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include <toml++/toml.h>

#include "base/error.h"
#include "rules/limits.h"
#include "rules/rules.h"

namespace forewarm::rules {

using Position = toml::source_position;

// Keeps the diagnostic that stands first in the file; of several at one place, the one made first.
class Diagnostics {
 public:
  Diagnostics(std::string_view text, std::string file) : text_(text), file_(std::move(file)) {}

  void add(Position at, std::string message, std::string hint = {});
  // Whether a diagnostic there would be kept. A file may have more mistakes than can be put into
  // words quickly: ask before anything costly.
  [[nodiscard]] bool wanted(Position at) const;
  [[nodiscard]] bool any() const { return first_.has_value(); }
  // REQUIRES: any().
  [[nodiscard]] Error first() const;

 private:
  std::string_view text_;
  std::string file_;
  std::optional<Error> first_;
};

// The first place where a document is too deep for a recursive parser and its tree: brackets inside
// brackets, or dotted keys, deeper than any rule file needs.
[[nodiscard]] std::optional<Position> too_deep(std::string_view text);

// "a string", "an integer" ... for messages.
[[nodiscard]] std::string kind_of(const toml::node& node);
// A name or a line of G-code that is copied into jobs: no control characters, which would break
// lines, and none of the marks by which rewriting knows its own lines.
[[nodiscard]] std::optional<std::string> why_unfit(std::string_view text);

[[nodiscard]] inline Position position_of(const toml::node& node) { return node.source().begin; }

// One number, of either TOML kind, within limits. `what` names it in messages.
[[nodiscard]] std::optional<double> number_in(const toml::node& node, std::string_view what,
                                              const Limits& limits, Diagnostics& diagnostics);
[[nodiscard]] std::optional<int> index_in(const toml::node& node, std::string_view what,
                                          Diagnostics& diagnostics);

// A table of the file by the names of its keys, for table.h alone. Unknown keys are reported at
// once.
class RawTable {
 public:
  RawTable(const toml::table& table, std::string where, std::vector<std::string_view> known,
           Diagnostics& diagnostics);

  [[nodiscard]] const toml::node* find(std::string_view key) const { return table_.get(key); }
  // Position of the value of `key`, or of the table where it has none.
  [[nodiscard]] Position at(std::string_view key) const;
  [[nodiscard]] Position at_key(std::string_view key) const;
  [[nodiscard]] Position at() const { return position_of(table_); }
  [[nodiscard]] Diagnostics& diagnostics() const { return diagnostics_; }

  // Reports a missing `key`, unless the table has an unknown key. Says whether it is there.
  bool need(std::string_view key, std::string_view hint) const;

  // Each leaves `into` alone where the key is absent or wrong, and says whether it set it.
  bool number(std::string_view key, const Limits& limits, double& into) const;
  bool index(std::string_view key, int& into) const;
  bool flag(std::string_view key, bool& into) const;
  bool raw_text(std::string_view key, std::string& into) const;
  bool filled_text(std::string_view key, std::string& into) const;  // not empty
  bool fit_text(std::string_view key, std::string& into) const;     // why_unfit() has no objection
  bool name(std::string_view key, std::string& into) const;         // fit, and not empty
  // `patterns`: any text but an empty one; else why_unfit() has no objection.
  bool lines(std::string_view key, bool patterns, std::vector<std::string>& into) const;
  bool range(std::string_view key, Range& into) const;  // [lowest, highest]

  [[nodiscard]] std::optional<RawTable> table(std::string_view key, std::string where,
                                              std::vector<std::string_view> known) const;
  [[nodiscard]] const toml::table* open_table(std::string_view key) const;
  // The tables of [[key]]; a lone [key] is reported.
  [[nodiscard]] std::vector<const toml::table*> tables(std::string_view key) const;

 private:
  const toml::table& table_;
  std::string where_;
  Diagnostics& diagnostics_;
  bool has_unknown_ = false;
};

}  // namespace forewarm::rules
