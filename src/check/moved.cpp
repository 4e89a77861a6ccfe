#include "check/moved.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <algorithm>
#include <charconv>

#include "gcode/blocks.h"
#include "gcode/lines.h"
#include "rewrite/marks.h"

namespace forewarm::check {

namespace {

// "T0 to T3, T3 to T0"; false if it is none.
bool read_how(std::string_view how, std::vector<std::pair<int, int>>& into) {
  into.clear();
  const auto take = [&](std::string_view word) {
    if (how.substr(0, word.size()) != word) return false;
    how.remove_prefix(word.size());
    return true;
  };
  const auto number = [&](int& value) {
    const auto [end, error] = std::from_chars(how.data(), how.data() + how.size(), value);
    if (error != std::errc{} || value < 0) return false;
    how.remove_prefix(std::size_t(end - how.data()));
    return true;
  };
  do {
    std::pair<int, int> one;
    if (!take("T") || !number(one.first) || !take(" to T") || !number(one.second)) return false;
    into.push_back(one);
  } while (take(", "));
  return how.empty();
}

std::string_view reason_of(std::string_view line) {
  const auto at = line.rfind(rewrite::kInserted);
  return line.substr(at + rewrite::kInserted.size());
}

bool stands_for_another(std::string_view line) {
  return rewrite::is_inserted(line) &&
         reason_of(line).substr(0, rewrite::kMapped.size()) == rewrite::kMapped;
}

// Bytes and hash of a text that comes line by line; see rewrite/restore.cpp for the last ending.
class Restored {
 public:
  Restored() { XXH3_64bits_reset(&state_); }
  void line(std::string_view text, std::string_view ending) {
    put(held_);
    put(text);
    held_ = ending;
  }
  void end(bool drops_ending) {
    if (!drops_ending) put(held_);
  }
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
  [[nodiscard]] std::uint64_t hash() const { return XXH3_64bits_digest(&state_); }

 private:
  void put(std::string_view text) {
    XXH3_64bits_update(&state_, text.data(), text.size());
    bytes_ += text.size();
  }
  XXH3_state_t state_;
  std::uint64_t bytes_ = 0;
  std::string held_;
};

class Reading {
 public:
  Reading(ByteSource& rewritten, const rules::Rules& rules, const rules::Recogniser& recogniser)
      : rewritten_(rewritten), rules_(rules), own_(own_names(recogniser)) {}

  Result<std::optional<Moved>> run() {
    const auto may = may_be_moved();
    if (!may) return may.error();
    if (!*may) return std::optional<Moved>();
    if (auto s = learn(); !s) return std::move(s.error());
    if (!any_) return std::optional<Moved>();
    if (auto s = apply(); !s) return std::move(s.error());
    return std::optional(std::move(out_));
  }

 private:
  void mixed(std::uint64_t line, std::string what) {
    out_.findings.add(Id::tools_mixed, line, std::move(what));
  }

  // Whether there is such a mark at all. Most rewrites have none, and are not read line by line.
  Result<bool> may_be_moved() {
    gcode::BlockReader reader(rewritten_);
    gcode::Block block;
    std::string_view fresh;
    const std::string mark =
        std::string(rewrite::kInserted.substr(1)) + std::string(rewrite::kMapped);
    for (;;) {
      auto more = reader.next(block, fresh);
      if (!more || !*more) return more;
      const std::string_view text = block.text();
      for (std::size_t at = 0; (at = rewrite::find_mark(text, at)) != std::string_view::npos;
           ++at) {
        if (text.substr(at, mark.size()) == mark) return true;
      }
    }
  }

  // The first pass: where each tool went.
  Status learn() {
    gcode::LineReader reader(rewritten_);
    gcode::RawLine line;
    std::vector<std::pair<int, int>> said;
    for (;;) {
      auto more = reader.next(line);
      if (!more) return std::move(more.error());
      if (!*more) return success();
      if (!stands_for_another(line.text)) continue;
      any_ = true;
      if (!read_how(reason_of(line.text).substr(rewrite::kMapped.size()), said)) {
        mixed(line.number, "the mark does not say which tool became which");
        continue;
      }
      for (const auto& [from, to] : said) {
        const auto [it, fresh] = out_.map.emplace(from, to);
        if (fresh || it->second == to) continue;
        mixed(line.number, "T" + std::to_string(from) + " becomes T" + std::to_string(to) +
                               " here, but T" + std::to_string(it->second) + " before");
      }
    }
  }

  // The second: the rewrite as one of the moved job, and what is not as the map has it.
  Status apply() {
    gcode::Renumbering by(out_.map, rules_.dialect.temperature_index_is_heater);
    gcode::LineReader reader(rewritten_);
    gcode::RawLine line;
    std::optional<rewrite::Header> header;
    std::uint64_t header_end = 0;
    Restored before;  // the original
    Restored after;   // with its tools moved
    bool ends_inserted_open = false;
    for (;;) {
      auto more = reader.next(line);
      if (!more) return std::move(more.error());
      if (!*more) break;
      if (line.number == 1) header = rewrite::read_header(line.text);
      if (line.number == 1 && header) {
        header_end = line.text.size();
        continue;
      }
      if (rewrite::is_inserted(line.text)) {
        ends_inserted_open = line.ending.empty();
        if (stands_for_another(line.text)) stands(line);
        waiting_.reset();
        continue;
      }
      waiting_.reset();
      const bool disabled = rewrite::is_disabled(line.text);
      std::string_view text = line.text;
      if (disabled) text.remove_prefix(rewrite::kDisabled.size());
      names_.clear();
      own_(text, names_);
      auto moved = by.line(text, names_);
      if (!moved) {
        mixed(line.number, moved.error().message);
        moved = std::optional<gcode::Renumbered>();
      }
      const std::string now = *moved ? (*moved)->text : std::string(text);
      before.line(text, line.ending);
      after.line(now, line.ending);
      if (!disabled) {
        if (*moved) {
          mixed(line.number, "\"" + printable(text, 80) + "\" stays, but " + (*moved)->how +
                                 " is what the marks say");
        }
        continue;
      }
      // Taken out by the plan, unless a line that stands for it follows.
      if (*moved) {
        out_.rewritten.push_back(
            {line.offset, line.offset + line.text.size(), std::string(rewrite::kDisabled) + now});
        waiting_ = Waiting{now, line.number};
      }
    }
    before.end(ends_inserted_open);
    after.end(ends_inserted_open);
    if (header && header->bytes == before.bytes() && header->original == before.hash()) {
      const rewrite::Header as_moved{header->rules, after.bytes(), after.hash()};
      out_.rewritten.insert(out_.rewritten.begin(), {0, header_end, header_line(as_moved)});
    }
    if (const auto tool = gcode::crowded(out_.map, by.seen())) {
      mixed(0, "more than one tool becomes T" + std::to_string(*tool));
    }
    return success();
  }

  // The line that stands for the disabled one right before it: the two become one.
  void stands(const gcode::RawLine& line) {
    if (!waiting_) {
      mixed(line.number, "no line before this one is disabled that names a moved tool");
      return;
    }
    const std::string_view code = line.text.substr(0, line.text.rfind(rewrite::kInserted));
    if (code != waiting_->text) {
      mixed(line.number, "\"" + printable(code, 80) + "\", but the marks make it \"" +
                             printable(waiting_->text, 80) + "\"");
    }
    Splice& splice = out_.rewritten.back();
    splice.to = line.end_offset();
    splice.text = std::string(code) + std::string(line.ending);
    out_.pairs.push_back(waiting_->line);
  }

  struct Waiting {
    std::string text;
    std::uint64_t line;
  };
  ByteSource& rewritten_;
  const rules::Rules& rules_;
  gcode::OwnNames own_;
  std::vector<gcode::Named> names_;
  std::optional<Waiting> waiting_;
  bool any_ = false;
  Moved out_;
};

}  // namespace

std::uint64_t Moved::line_of(std::uint64_t moved_line) const {
  // Pair k is at line pairs[k] - k of the moved rewrite.
  std::uint64_t low = 0;
  std::uint64_t high = pairs.size();
  while (low < high) {
    const std::uint64_t k = (low + high) / 2;
    if (pairs[k] - k <= moved_line) {
      low = k + 1;
    } else {
      high = k;
    }
  }
  return moved_line + low;
}

gcode::OwnNames own_names(const rules::Recogniser& recogniser) {
  return [&recogniser, found = std::vector<rules::Recognised>()](
             std::string_view line, std::vector<gcode::Named>& into) mutable {
    if (recogniser.empty() || line.empty()) return;
    found.clear();
    std::optional<double> seconds;
    recogniser.match(line, found, seconds);
    for (const rules::Recognised& r : found) {
      if (r.tool && r.tool_length > 0) into.push_back({r.tool_at, r.tool_length, *r.tool});
    }
  };
}

Result<std::optional<Moved>> read_moved(ByteSource& rewritten, const rules::Rules& rules,
                                        const rules::Recogniser& recogniser) {
  return Reading(rewritten, rules, recogniser).run();
}

}  // namespace forewarm::check
