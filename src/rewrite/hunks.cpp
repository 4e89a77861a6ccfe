#include "rewrite/hunks.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstring>

#include "base/error.h"

namespace forewarm::rewrite {

namespace {

void append_line(std::string& to, char sign, std::string_view line) {
  to += sign;
  to += line;
  if (line.empty() || line.back() != '\n') to += "\n\\ No newline at end of file\n";
}

std::string range(std::uint64_t start, std::uint64_t count) {
  // An empty range names the line before it.
  if (count == 0) return fmt::format("{},0", start);
  if (count == 1) return fmt::format("{}", start + 1);
  return fmt::format("{},{}", start + 1, count);
}

// A name that would break its line, or reach a terminal as a control: in quotes, as patch(1) reads
// it, with every byte that is not plain ASCII as an escape.
std::string quoted(const std::string& name) {
  const bool harmless = printable(name, name.size()) == name &&
                        name.find('\t') == std::string::npos && name.substr(0, 1) != "\"";
  if (harmless) return name;
  std::string out = "\"";
  for (const char c : name) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte >= 0x7f) {
      out += fmt::format("\\{:03o}", byte);
    } else {
      if (c == '"' || c == '\\') out += '\\';
      out += c;
    }
  }
  return out + '"';
}

// A name with a space is closed by a tab, as patch(1) expects.
std::string file_line(std::string_view mark, const std::string& given) {
  const std::string name = quoted(given);
  const bool spaced = name.find(' ') != std::string::npos;
  return fmt::format("{} {}{}\n", mark, name, spaced ? "\t" : "");
}

}  // namespace

void Hunks::open() {
  if (open_) {
    // Context between two changes of one hunk.
    for (const std::string& line : trailing_lines_) append_line(body_, ' ', line);
    from_count_ += trailing_lines_.size();
    to_count_ += trailing_lines_.size();
    trailing_lines_.clear();
    return;
  }
  open_ = true;
  place_.first = from_offset_;
  body_.clear();
  from_start_ = from_line_ - before_.size();
  to_start_ = to_line_ - before_.size();
  from_count_ = to_count_ = before_.size();
  for (const std::string& line : before_) append_line(body_, ' ', line);
  before_.clear();
}

Status Hunks::close() {
  if (!open_) return success();
  const std::size_t shown = std::min(kContext, trailing_lines_.size());
  for (std::size_t i = 0; i < shown; ++i) append_line(body_, ' ', trailing_lines_[i]);
  from_count_ += shown;
  to_count_ += shown;
  const bool wanted = !view_.wanted || view_.wanted(place_);
  if (view_.tally != nullptr) view_.tally->end_hunk(wanted);
  if (wanted) {
    if (auto s = write(); !s) return s;
  } else {
    left_out_lines_ += std::int64_t(to_count_) - std::int64_t(from_count_);
  }
  body_.clear();
  open_ = false;
  before_.clear();
  const std::size_t keep_from =
      trailing_lines_.size() > kContext ? trailing_lines_.size() - kContext : 0;
  for (std::size_t i = keep_from; i < trailing_lines_.size(); ++i) {
    before_.push_back(std::move(trailing_lines_[i]));
  }
  trailing_lines_.clear();
  return success();
}

Status Hunks::write() {
  std::string head;
  if (!any_) head = file_line("---", from_name_) + file_line("+++", to_name_);
  any_ = true;
  const auto to_start = std::uint64_t(std::int64_t(to_start_) - left_out_lines_);
  head += fmt::format("@@ -{} +{} @@", range(from_start_, from_count_), range(to_start, to_count_));
  if (view_.says) {
    const std::string words = view_.says(place_);
    if (!words.empty()) head += ' ' + words;
  }
  if (auto s = out_.write(head + '\n'); !s) return s;
  return out_.write(body_);
}

Status Hunks::keep(std::string_view line) {
  from_offset_ += line.size();
  if (open_) {
    trailing_lines_.emplace_back(line);
    ++from_line_;
    ++to_line_;
    return trailing_lines_.size() > 2 * kContext ? close() : success();
  }
  if (before_.size() == kContext) {
    std::string reused = std::move(before_.front());
    before_.pop_front();
    reused = line;
    before_.push_back(std::move(reused));
  } else {
    before_.emplace_back(line);
  }
  ++from_line_;
  ++to_line_;
  return success();
}

Status Hunks::keep_lines(std::string_view lines) {
  const auto first = [&lines] {
    const std::string_view line = lines.substr(0, lines.find('\n') + 1);
    return line.empty() ? lines : line;
  };
  while (open_ && !lines.empty()) {
    const std::string_view line = first();
    if (auto s = keep(line); !s) return s;
    lines.remove_prefix(line.size());
  }
  // Of the others only the last few may be shown.
  std::size_t shown_from = lines.empty() ? 0 : lines.size() - 1;
  for (std::size_t n = 0; n < kContext && shown_from > 0; ++n) {
    const auto* lf = static_cast<const char*>(memrchr(lines.data(), '\n', shown_from));
    shown_from = lf == nullptr ? 0 : std::size_t(lf - lines.data());
  }
  if (shown_from > 0) ++shown_from;
  from_offset_ += shown_from;
  const auto passed =
      std::uint64_t(std::count(lines.begin(), lines.begin() + std::ptrdiff_t(shown_from), '\n'));
  from_line_ += passed;
  to_line_ += passed;
  lines.remove_prefix(shown_from);
  while (!lines.empty()) {
    const std::string_view line = first();
    if (auto s = keep(line); !s) return s;
    lines.remove_prefix(line.size());
  }
  return success();
}

Status Hunks::remove(std::string_view line) {
  open();
  place_.last = from_offset_;
  from_offset_ += line.size();
  if (view_.tally != nullptr) view_.tally->remove(line);
  append_line(body_, '-', line);
  ++from_line_;
  ++from_count_;
  return success();
}

Status Hunks::add(std::string_view line) {
  open();
  place_.last = from_offset_;
  if (view_.tally != nullptr) view_.tally->add(line);
  append_line(body_, '+', line);
  ++to_line_;
  ++to_count_;
  return success();
}

Status Hunks::finish() { return close(); }

}  // namespace forewarm::rewrite
