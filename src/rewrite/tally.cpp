#include "rewrite/tally.h"

#include <algorithm>

#include "base/error.h"
#include "rewrite/marks.h"
#include "rewrite/runs.h"

namespace forewarm::rewrite {

namespace {

constexpr const char* kNoMark = "without a mark";
constexpr const char* kFirstLine = "first line";
constexpr const char* kLastEnding = "ending of the last line";
constexpr const char* kMappedReason = "mapped";

bool is_digit(char c) { return c >= '0' && c <= '9'; }

std::string_view without_ending(std::string_view line) {
  line.remove_suffix(last_ending(line).size());
  return line;
}

// "M104 of the job": what a removed line was for.
std::string of_command(std::string_view line) {
  const auto skip = [&line](const auto& skipped) {
    while (!line.empty() && skipped(line.front())) line.remove_prefix(1);
  };
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  skip(blank);
  if (line.size() > 1 && (line[0] == 'N' || line[0] == 'n') && is_digit(line[1])) {
    line.remove_prefix(1);
    skip(is_digit);
    skip(blank);
  }
  constexpr std::size_t kMostDigits = 6;
  std::size_t end = 1;
  while (end < line.size() && end <= kMostDigits && (is_digit(line[end]) || line[end] == '.'))
    ++end;
  const char letter = line.empty() ? ' ' : char(line[0] & ~0x20);
  if (letter < 'A' || letter > 'Z' || end == 1) return "other lines of the job";
  return letter + std::string(line.substr(1, end - 1)) + " of the job";
}

}  // namespace

// As plan/describe.h, plan/echoes.h and marks.h say them.
std::string shortened(std::string_view reason) {
  constexpr std::size_t kMost = 60;
  const auto begins = [reason](std::string_view with) { return reason.starts_with(with); };
  if (begins(kMapped)) return kMappedReason;
  if (begins("wait: hot before the exchange")) return "wait before an exchange";
  if (begins("wait: ") && reason.find(" prints at ") != std::string_view::npos) {
    return "wait before a use";
  }
  if (begins(kStep)) return printable(reason.substr(0, reason.find(kStepEnd)), kMost);
  for (const std::string_view end : {": ", ", ", " after "}) {
    if (end == " after " && reason.find(" by timer") == std::string_view::npos) continue;
    reason = reason.substr(0, reason.find(end));
  }
  return printable(reason, kMost);
}

void Tally::count(Counts& counts, const std::string& reason, Count more) const {
  auto at = counts.find(reason);
  if (at == counts.end()) {
    const bool full = counts.size() >= kMostReasons;
    at = counts.try_emplace(full ? "other reasons" : reason).first;
  }
  at->second.inserted += more.inserted;
  at->second.removed += more.removed;
}

bool Tally::taken_back(std::string_view line) {
  const auto at = removed_.find(line);
  if (at == removed_.end()) return false;
  removed_.erase(at);
  return true;
}

void Tally::add(std::string_view line) {
  ++hunk_plus_;
  const std::string_view text = without_ending(line);
  const std::string before = std::move(last_removed_);
  last_removed_.clear();
  if (is_disabled(line)) {
    const std::string_view was = line.substr(kDisabled.size());
    // The last line of a job may have got its ending by that.
    if (taken_back(was) || taken_back(without_ending(was))) {
      last_removed_ = of_command(was);
      return count(of_hunk_, last_removed_, {.removed = 1});
    }
  }
  if (is_inserted(text)) {
    const std::string_view reason = text.substr(text.rfind(kInserted) + kInserted.size());
    const std::string shown = shortened(reason);
    if (shown == kMappedReason && !before.empty()) {
      // It stands for the line that was removed right before it.
      auto& of_job = of_hunk_[before];
      if (--of_job.removed == 0 && of_job.inserted == 0) of_hunk_.erase(before);
      return count(of_hunk_, shown, {.inserted = 1, .removed = 1});
    }
    return count(of_hunk_, shown, {.inserted = 1});
  }
  if (read_header(text)) return count(of_hunk_, kFirstLine, {.inserted = 1});
  if (text.size() < line.size() && taken_back(text)) {
    return count(of_hunk_, kLastEnding, {.inserted = 1, .removed = 1});
  }
  count(of_hunk_, kNoMark, {.inserted = 1});
}

void Tally::remove(std::string_view line) {
  // A text that is replaced whole has no marks that would stand for its lines.
  constexpr std::size_t kMostLines = 200'000;
  ++hunk_minus_;
  last_removed_.clear();
  if (removed_.size() >= kMostLines) return count(of_hunk_, kNoMark, {.removed = 1});
  removed_.emplace(line);
}

void Tally::end_hunk(bool counts) {
  if (counts) {
    for (const std::string& line : removed_) {
      const std::string_view text = without_ending(line);
      const bool marked = is_inserted(text);
      const std::string_view reason = marked ? text.substr(text.rfind(kInserted)) : "";
      count(of_hunk_,
            marked              ? shortened(reason.substr(kInserted.size()))
            : read_header(text) ? kFirstLine
                                : kNoMark,
            {.removed = 1});
    }
    for (const auto& [reason, more] : of_hunk_) count(all_, reason, more);
    ++hunks_;
    plus_ += hunk_plus_;
    minus_ += hunk_minus_;
  }
  of_hunk_.clear();
  removed_.clear();
  last_removed_.clear();
  hunk_plus_ = hunk_minus_ = 0;
}

std::vector<ReasonCount> Tally::by_reason() const {
  std::vector<ReasonCount> out;
  out.reserve(all_.size());
  for (const auto& [reason, n] : all_) out.push_back({reason, n.inserted, n.removed});
  std::stable_sort(out.begin(), out.end(), [](const ReasonCount& a, const ReasonCount& b) {
    return a.inserted + a.removed > b.inserted + b.removed;
  });
  return out;
}

}  // namespace forewarm::rewrite
