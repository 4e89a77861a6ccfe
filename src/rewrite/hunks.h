// Collects kept, removed and added lines into the hunks of a unified diff.
//
// Lines are given in the order of the texts, endings included; memory holds one hunk. What is
// written is a patch of the hunks that are wanted: where others are left out, the lines of the new
// text are numbered as if it did not have their changes.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <string>
#include <string_view>

#include "base/bytes.h"
#include "rewrite/tally.h"

namespace forewarm::rewrite {

// Where in the old text a hunk's first and last changes are: the offsets of the lines that are
// removed, or before which others are added.
struct HunkPlace {
  std::uint64_t first = 0, last = 0;
};

// Which hunks are shown, and how. What is not set is left out.
struct HunkView {
  std::function<bool(const HunkPlace&)> wanted = {};       // all
  std::function<std::string(const HunkPlace&)> says = {};  // harmless, behind the second @@
  Tally* tally = nullptr;                                  // of those wanted
};

class Hunks {
 public:
  Hunks(std::string from_name, std::string to_name, ByteSink& out, HunkView view = {})
      : from_name_(std::move(from_name)),
        to_name_(std::move(to_name)),
        out_(out),
        view_(std::move(view)) {}

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
  [[nodiscard]] Status write();
  void open();

  std::string from_name_, to_name_;
  ByteSink& out_;
  HunkView view_;
  std::deque<std::string> before_;  // the last kept lines outside a hunk
  std::string body_;
  std::deque<std::string> trailing_lines_;  // kept lines since the last change in the open hunk
  bool open_ = false, any_ = false;
  std::uint64_t from_line_ = 0, to_line_ = 0;    // lines passed
  std::uint64_t from_start_ = 0, to_start_ = 0;  // of the open hunk, from 0
  std::uint64_t from_count_ = 0, to_count_ = 0;
  std::uint64_t from_offset_ = 0;    // bytes passed
  HunkPlace place_;                  // of the open hunk
  std::int64_t left_out_lines_ = 0;  // that hunks which are left out would have added
};

}  // namespace forewarm::rewrite
