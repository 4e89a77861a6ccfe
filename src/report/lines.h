// The base of what writes a text line by line and table by table.
//
// Lines do not end in blanks.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <string>
#include <utility>

#include "report/format.h"
#include "report/table.h"

namespace forewarm::report {

class Lines {
 protected:
  explicit Lines(std::size_t width) : width_(width) {}

  template <class... Args>
  void line(fmt::format_string<Args...> format, Args&&... args) {
    const std::size_t from = out_.size();
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
    out_.resize(std::max(from, out_.find_last_not_of(' ') + 1));
    out_ += '\n';
  }

  // How every text begins: which job, on what machine, by which rules.
  void begin(const std::string& path, const rules::Rules& rules) {
    line("{}", clean(path));
    line("  on {}", clean(rules.machine.name));
    line("  rules: {}", rules_words(rules));
  }

  void add(const Table& table) { out_ += '\n' + text_of(table, width_); }
  void add_wrapped(std::string_view text, std::size_t indent) {
    out_ += wrapped(text, indent, width_);
  }

  std::string out_;
  std::size_t width_;
};

}  // namespace forewarm::report
