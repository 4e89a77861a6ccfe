// The questions that matter most for a new rule file, and their answers: from a person, one by one,
// or from a file of TOML.
//
//   toolheads = [[0], [1, 2, 3]]     # a feeder serves the second
//   power_w = [40, 60]               # or one number for all
//
// An answer is written as TOML; a typed one may leave quotes and brackets out: `0 | 1 2 3`, `40
// 60`. Values are within the limits of the keys that they become. Pure.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"

namespace forewarm::rules {

struct Answers {
  std::string machine = "machine";
  std::vector<std::vector<int>> toolheads;      // the T numbers of each
  std::vector<std::string> names;               // of each; empty: "T0", after the first number
  std::vector<double> power_w{40}, max_c{300};  // of each, or one for all
  double park_s = 7, pick_s = 7, exchange_s = 35, standby_c = 175, off_over_s = 3600;

  // REQUIRES: i < toolheads.size().
  [[nodiscard]] std::string name(std::size_t i) const;
  [[nodiscard]] double power(std::size_t i) const { return of(power_w, i); }
  [[nodiscard]] double max(std::size_t i) const { return of(max_c, i); }

 private:
  [[nodiscard]] static double of(const std::vector<double>& all, std::size_t i) {
    return all.size() == 1 ? all.front() : all[i];
  }
};

struct Question {
  std::string_view key, text;
};
// Ten, in the order in which they are asked.
[[nodiscard]] std::span<const Question> questions();

// What stands for an answer that is not given, as it would be typed.
[[nodiscard]] std::string answer_text(const Answers& answers, std::string_view key);
// Errors are of kind `usage`; `into` is left alone then. REQUIRES: `key` is that of a question.
[[nodiscard]] Status answer(std::string_view key, std::string_view typed, Answers& into);
// A file with some of the answers, the others being those of `otherwise`. Errors are of kind
// `usage`, with file, line and column.
[[nodiscard]] Result<Answers> answers_in(std::string_view text, const std::string& name,
                                         const Answers& otherwise);

}  // namespace forewarm::rules
