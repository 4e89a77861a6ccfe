// Typed, located access to parsed TOML, for the loader; and the scan that comes before parsing.
//
// Contract: nothing here throws or stops at the first mistake. Every complaint goes to Diagnostics,
// which keeps the one that stands first in the file; a reader that complained leaves its target as
// it was. Positions are toml++'s: lines and characters from 1. Internal to rules/.
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

// The complaint that stands first in the file; of several at one place, the one made first.
class Diagnostics {
 public:
  Diagnostics(std::string_view text, std::string file) : text_(text), file_(std::move(file)) {}

  void add(Position at, std::string message, std::string hint = {});
  // Whether a complaint there would be kept. A file may have more mistakes than it would be quick
  // to word: ask before anything costly.
  [[nodiscard]] bool wanted(Position at) const;
  [[nodiscard]] bool any() const { return first_.has_value(); }
  // REQUIRES: any().
  [[nodiscard]] Error first() const;

 private:
  std::string_view text_;
  std::string file_;
  std::optional<Error> first_;
};

// Where a document stops being one that a recursive parser and its tree are safe with: brackets
// inside brackets, or dotted keys, deeper than any rule file has use for.
[[nodiscard]] std::optional<Position> too_deep(std::string_view text);

// "a string", "an integer" ... as messages say it.
[[nodiscard]] std::string kind_of(const toml::node& node);
// A name or a line of G-code that is copied into jobs: no control characters, which would break
// lines, and none of the marks by which rewriting knows its own lines.
[[nodiscard]] std::optional<std::string> why_unfit(std::string_view text);

[[nodiscard]] inline Position position_of(const toml::node& node) { return node.source().begin; }

// One number, of either TOML kind, within limits. `what` names it in messages.
[[nodiscard]] std::optional<double> number_in(const toml::node& node, std::string_view what,
                                              Limits limits, Diagnostics& findings);
[[nodiscard]] std::optional<int> index_in(const toml::node& node, std::string_view what,
                                          Diagnostics& findings);

// A table of the file by the names of its keys, for table.h alone. Complains of unknown keys at
// once.
class RawTable {
 public:
  RawTable(const toml::table& table, std::string where, std::vector<std::string_view> known,
           Diagnostics& findings);

  [[nodiscard]] const toml::node* find(std::string_view key) const { return table_.get(key); }
  // Position of the value of `key`, or of the table where it has none.
  [[nodiscard]] Position at(std::string_view key) const;
  [[nodiscard]] Position at_key(std::string_view key) const;
  [[nodiscard]] Position at() const { return position_of(table_); }
  [[nodiscard]] Diagnostics& findings() const { return findings_; }

  // Complains unless `key` is there. Silent where the table has an unknown key.
  bool need(std::string_view key, std::string_view hint) const;

  // Each leaves `into` alone where the key is absent or wrong, and says whether it set it.
  bool number(std::string_view key, Limits limits, double& into) const;
  bool index(std::string_view key, int& into) const;
  bool flag(std::string_view key, bool& into) const;
  bool raw_text(std::string_view key, std::string& into) const;
  bool filled_text(std::string_view key, std::string& into) const;  // not empty
  bool fit_text(std::string_view key, std::string& into) const;     // why_unfit() has no objection
  bool name(std::string_view key, std::string& into) const;         // fit, and not empty
  bool lines(std::string_view key, std::vector<std::string>& into) const;
  bool range(std::string_view key, Range& into) const;  // [lowest, highest]

  [[nodiscard]] std::optional<RawTable> table(std::string_view key, std::string where,
                                              std::vector<std::string_view> known) const;
  [[nodiscard]] const toml::table* open_table(std::string_view key) const;
  // The tables of [[key]]; a lone [key] is a complaint.
  [[nodiscard]] std::vector<const toml::table*> tables(std::string_view key) const;

 private:
  const toml::table& table_;
  std::string where_;
  Diagnostics& findings_;
  bool has_unknown_ = false;
};

}  // namespace forewarm::rules
