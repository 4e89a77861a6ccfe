// What the text and the page of a comparison have in common: its tables, and its answers in words.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "report/compare.h"
#include "report/table.h"

namespace forewarm::report {

struct Answer {
  std::string list_head = {};  // empty: there is no list
  std::vector<std::pair<std::string, std::string>> list = {};
  std::vector<std::string> sentences = {};
};

// REQUIRES: the comparison outlives it.
class CompareParts {
 public:
  explicit CompareParts(const Comparison& comparison) : c_(comparison) {}

  // The rows of one sweep; with an empty key, those that are of none.
  [[nodiscard]] std::vector<const CompareRow*> rows_of(std::string_view swept) const;
  [[nodiscard]] std::vector<std::string_view> swept_keys() const;  // in their order
  // The unswept row of a policy by the rule file's own numbers.
  [[nodiscard]] const CompareRow& own(rules::Policy policy) const;
  // Whether the row was planned by the rule file's own numbers.
  [[nodiscard]] bool as_rules(const CompareRow& row) const;
  // "timers, off 15 min +": with a mark of what is the rule file's.
  [[nodiscard]] std::string label(const CompareRow& row) const;

  // Of all rows, with a heading before those of a sweep ...
  [[nodiscard]] Table figures_table() const;
  [[nodiscard]] Table difference_table() const;
  // ... or of these alone. REQUIRES: all of one sweep, or of none.
  [[nodiscard]] Table figures_table(std::span<const CompareRow* const> rows) const;
  [[nodiscard]] Table difference_table(std::span<const CompareRow* const> rows) const;

  [[nodiscard]] Answer timer_answer() const;
  [[nodiscard]] std::string sweep_answer(std::span<const CompareRow* const> rows) const;

 private:
  template <class Cells>
  void add_rows(Table& table, std::span<const CompareRow* const> rows, bool heading,
                Cells add_cells_of) const;
  [[nodiscard]] Table figures_table(std::span<const CompareRow* const> rows, bool heading) const;
  [[nodiscard]] Table difference_table(std::span<const CompareRow* const> rows, bool heading) const;
  [[nodiscard]] std::vector<const CompareRow*> all() const;
  [[nodiscard]] std::vector<const CompareRow*> timers_tried() const;
  [[nodiscard]] std::string why_idle(std::string_view key) const;

  const Comparison& c_;
};

}  // namespace forewarm::report
