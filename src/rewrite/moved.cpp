#include "rewrite/moved.h"

namespace forewarm::rewrite {

Status MovedToSink::copy(std::uint64_t from, std::uint64_t to) {
  return from < to ? sink_.copy(original_, from, to - from) : success();
}

Result<std::string> MovedToSink::ending_at(std::uint64_t offset) {
  std::string out;
  while (out.size() < 2 && (out.empty() || out[0] == '\r')) {
    char c = 0;
    auto got = original_.read_at(offset + out.size(), std::span(&c, 1));
    if (!got) return std::move(got.error());
    if (*got == 0) break;
    out += c;
  }
  if (!out.empty()) last_ending_ = out;
  return out;
}

Status MovedToSink::keep(std::uint64_t from, std::uint64_t to) {
  std::uint64_t at = moved_.base_of(from);
  for (std::size_t i = moved_.first_after(from); i < lines_.size() && moved_.begins(i) < to; ++i) {
    const Splice& s = lines_[i].splice;
    if (auto status = copy(at, s.from); !status) return status;
    if (lines_[i].inserted) {
      if (auto status = new_line(i, ""); !status) return status;
      at = s.to;
      continue;
    }
    auto ending = ending_at(s.to);
    if (!ending) return std::move(ending.error());
    // A last line without an ending needs one here; restoring takes it off again.
    std::string between = ending->empty() ? last_ending_ : *ending;
    if (ending->empty() && s.to > s.from) {
      // A lone CR at the end would become part of a plain LF.
      char last = 0;
      auto got = original_.read_at(s.to - 1, std::span(&last, 1));
      if (!got) return std::move(got.error());
      if (last == '\r') between = "\r\n";
    }
    if (auto status = sink_.write(kDisabled); !status) return status;
    if (auto status = copy(s.from, s.to); !status) return status;
    const std::string stands = between + s.text + mark(lines_[i]) + *ending;
    if (auto status = sink_.write(stands); !status) return status;
    at = s.to + ending->size();
  }
  return copy(at, moved_.base_of(to));
}

Status MovedToSink::disable(std::uint64_t from, std::uint64_t to) {
  if (moved_.base_of(from) == moved_.base_of(to)) return new_line(moved_.first_after(from), ";");
  if (auto status = sink_.write(kDisabled); !status) return status;
  return copy(moved_.base_of(from), moved_.base_of(to));
}

Status MovedToSink::new_line(std::size_t i, std::string_view before) {
  const std::string_view text = lines_[i].splice.text;
  const std::size_t end = text.find_last_not_of("\r\n") + 1;
  const std::string line = std::string(before) + std::string(text.substr(0, end)) + mark(lines_[i]);
  return sink_.write(line + std::string(text.substr(end)));
}

Status MovedToSink::insert(std::string_view line, std::string_view joins) {
  if (!started_) {
    started_ = true;
    const bool crlf = line.size() > 1 && line[line.size() - 2] == '\r';
    last_ending_ = crlf ? "\r\n" : "\n";
    return sink_.write(header_line(header_) + last_ending_ + std::string(kInserted) +
                       std::string(kMapped) + gcode::text_of(map_) + last_ending_);
  }
  if (auto status = sink_.write(joins); !status) return status;
  return sink_.write(line);
}

}  // namespace forewarm::rewrite
