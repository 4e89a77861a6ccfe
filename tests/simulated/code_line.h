// A line of G-code as this machine reads it: one command with its words. Comments (; and
// parentheses), line numbers and checksums are left out; case and spaces mean nothing (NIST
// RS274/NGC, section 3.3; the RepRap convention for N, * and ;).
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace simulated {

struct CodeLine {
  char letter = 0;  // G, M or T; 0 where there is no command
  int number = -1;
  std::string text;  // what stands behind the command, as it is, without a comment at the end

  [[nodiscard]] bool is(char letter_is, int number_is) const {
    return letter == letter_is && number == number_is;
  }
  // The number behind `word`; 0 where there is none, as in `G28 X`.
  [[nodiscard]] std::optional<double> value(char word) const;
  [[nodiscard]] double value(char word, double otherwise) const {
    return value(word).value_or(otherwise);
  }
};

CodeLine read_line(std::string_view line);

}  // namespace simulated
