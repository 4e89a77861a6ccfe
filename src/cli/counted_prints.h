// Which prints have been subtracted from the spools of a rule file: RULES.prints, beside it.
//
// One line a print: the hash of its job, and what tells it from other prints of that (review.h),
// each as 16 hex digits. Lines that are none are kept. A file that is not there holds none. Errors
// are of kind io and name the file.
#pragma once

#include <cstdint>
#include <string>

#include "base/error.h"

namespace forewarm::cli {

class CountedPrints {
 public:
  [[nodiscard]] static Result<CountedPrints> beside(const std::string& rule_file);
  [[nodiscard]] bool has(std::uint64_t job, std::uint64_t print) const;
  void add(std::uint64_t job, std::uint64_t print);
  [[nodiscard]] Status write() const;

 private:
  std::string file_, text_;
};

}  // namespace forewarm::cli
