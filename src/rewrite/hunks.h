// Collects kept, removed and added lines into the hunks of a unified diff.
//
// Lines are given in the order of the texts, endings included; memory holds one hunk.
#pragma once

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>

#include "base/bytes.h"

namespace forewarm::rewrite {

class Hunks {
 public:
  Hunks(std::string from_name, std::string to_name, ByteSink& out)
      : from_name_(std::move(from_name)), to_name_(std::move(to_name)), out_(out) {}

  [[nodiscard]] Status keep(std::string_view line);
  // Any number of lines, each with its ending but maybe the last.
  [[nodiscard]] Status keep_lines(std::string_view lines);
  [[nodiscard]] Status remove(std::string_view line);
  [[nodiscard]] Status add(std::string_view line);
  [[nodiscard]] Status finish();
  [[nodiscard]] bool any() const { return any_; }

 private:
  static constexpr std::size_t kContext = 3;
  [[nodiscard]] Status close();
  void open();

  std::string from_name_, to_name_;
  ByteSink& out_;
  std::deque<std::string> before_;  // the last kept lines outside a hunk
  std::string body_;
  std::deque<std::string> trailing_lines_;  // kept lines since the last change in the open hunk
  bool open_ = false, any_ = false;
  std::uint64_t from_line_ = 0, to_line_ = 0;    // lines passed
  std::uint64_t from_start_ = 0, to_start_ = 0;  // of the open hunk, from 0
  std::uint64_t from_count_ = 0, to_count_ = 0;
};

}  // namespace forewarm::rewrite
