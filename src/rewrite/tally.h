// Counts the lines that a diff inserts and removes, by the reasons of their marks.
//
// A reason is shortened to what many lines have in common: "preheat", "step wipe". A removed line
// has no reason in its mark; it is counted by its command. What bears no mark is counted as that.
// Memory grows with the reasons, which are bounded, and with the lines of one hunk.
#pragma once

#include <cstdint>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace forewarm::rewrite {

struct ReasonCount {
  std::string reason;
  std::uint64_t inserted = 0, removed = 0;
};

// "wait before a use" of "wait: T3 prints at 215 C".
[[nodiscard]] std::string shortened(std::string_view reason);

class Tally {
 public:
  static constexpr std::size_t kMostReasons = 100;

  // The lines of a hunk, with their endings, in order; then whether it counts.
  void add(std::string_view line);
  void remove(std::string_view line);
  void end_hunk(bool counts);

  // The most lines first.
  [[nodiscard]] std::vector<ReasonCount> by_reason() const;
  [[nodiscard]] std::uint64_t hunks() const { return hunks_; }
  // Lines as the diff has them, where one that is removed by a mark is one of each.
  [[nodiscard]] std::uint64_t plus() const { return plus_; }
  [[nodiscard]] std::uint64_t minus() const { return minus_; }

 private:
  struct Count {
    std::uint64_t inserted = 0, removed = 0;
  };
  using Counts = std::map<std::string, Count>;
  [[nodiscard]] bool taken_back(std::string_view line);
  void count(Counts& counts, const std::string& reason, Count more) const;

  Counts all_, of_hunk_;
  std::multiset<std::string, std::less<>> removed_;  // of the hunk, that no line stands for yet
  std::string last_removed_;                         // how the line before was counted
  std::uint64_t hunks_ = 0, plus_ = 0, minus_ = 0, hunk_plus_ = 0, hunk_minus_ = 0;
};

}  // namespace forewarm::rewrite
