// Text put together line by line, as reports are: the base of what writes one.
//
// Lines have no blanks at their ends, whatever their columns are padded with.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <string>
#include <utility>

namespace forewarm::report {

class Lines {
 protected:
  template <class... Args>
  void line(fmt::format_string<Args...> format, Args&&... args) {
    const std::size_t from = out_.size();
    fmt::format_to(std::back_inserter(out_), format, std::forward<Args>(args)...);
    out_.resize(std::max(from, out_.find_last_not_of(' ') + 1));
    out_ += '\n';
  }

  std::string out_;
};

}  // namespace forewarm::report
