#include "check/moved.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <algorithm>
#include <charconv>
#include <map>
#include <tuple>
#include <utility>

#include "check/fed.h"
#include "gcode/blocks.h"
#include "gcode/lines.h"
#include "machine/move_filaments.h"
#include "rewrite/marks.h"

namespace forewarm::check {

namespace {

using Pairs = std::vector<std::pair<int, int>>;

// "T0 to T3, T3 to T0"; false if it is none.
bool read_how(std::string_view how, Pairs& into) {
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
std::string_view code_of(std::string_view line) {
  return line.substr(0, line.rfind(rewrite::kInserted));
}

bool is_mapped(std::string_view line) {
  return rewrite::is_inserted(line) &&
         reason_of(line).substr(0, rewrite::kMapped.size()) == rewrite::kMapped;
}
std::string_view how_of(std::string_view line) {
  return reason_of(line).substr(rewrite::kMapped.size());
}

// Where all filaments go, in the second line.
bool says_all(const gcode::RawLine& line) {
  return line.number == 2 && is_mapped(line.text) && code_of(line.text).empty();
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
      : rewritten_(rewritten),
        rules_(rules),
        recogniser_(recogniser),
        fed_before_(rules, recogniser),
        fed_after_(rules, recogniser) {}

  Result<std::optional<Moved>> run() {
    const auto may = may_be_moved();
    if (!may) return may.error();
    if (!*may) return std::optional<Moved>();
    if (auto s = learn(); !s) return std::move(s.error());
    if (!any_) return std::optional<Moved>();
    if (auto s = follow(); !s) return std::move(s.error());
    if (auto s = apply(); !s) return std::move(s.error());
    return std::optional(std::move(out_));
  }

 private:
  // A disabled line that another one is to stand for.
  struct Waiting {
    std::string text, how;
    std::uint64_t line;
  };

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

  // Calls `visit` for each line of the rewrite, until it is done or goes wrong.
  template <class Visit>
  Status each_line(Visit visit) {
    gcode::LineReader reader(rewritten_);
    gcode::RawLine line;
    for (;;) {
      auto more = reader.next(line);
      if (!more) return std::move(more.error());
      if (!*more) return success();
      visit(line);
    }
  }

  // Where each tool went: as the second line says; where there is none such, by all other marks.
  Status learn() {
    Pairs said;
    return each_line([&](const gcode::RawLine& line) {
      if (!is_mapped(line.text)) return;
      any_ = true;
      const bool all = says_all(line);
      all_said_ |= all;
      if (!read_how(how_of(line.text), said)) {
        if (all) mixed(line.number, "the mark does not say which tool became which");
        return;
      }
      if (all_said_ && !all) return;
      for (const auto& [from, to] : said) {
        const auto [it, is_new] = out_.map.emplace(from, to);
        if (is_new || it->second == to) continue;
        mixed(line.number, "T" + std::to_string(from) + " becomes T" + std::to_string(to) +
                               " here, but T" + std::to_string(it->second) + " before");
      }
    });
  }

  // What the lines of the original become by that. They are called by their numbers and offsets in
  // the rewrite.
  Status follow() {
    machine::FilamentMove move(rules_, recogniser_, out_.map);
    Status followed = success();
    auto read = each_line([&](gcode::RawLine line) {
      if (!followed || !of_original(line)) return;
      if (rewrite::is_disabled(line.text)) {
        line.text.remove_prefix(rewrite::kDisabled.size());
        line.offset += rewrite::kDisabled.size();
      }
      followed = move.line(line);
    });
    if (!read) return read;
    Result<std::vector<gcode::MovedLine>> lines = std::vector<gcode::MovedLine>();
    if (followed) lines = move.finish();
    const Error* error = !followed ? &followed.error() : !lines ? &lines.error() : nullptr;
    if (error != nullptr) {
      mixed(error->line, error->message);
      return success();
    }
    out_.map = move.map();
    changes_ = std::move(*lines);
    return success();
  }

  [[nodiscard]] static bool of_original(const gcode::RawLine& line) {
    return !(line.number == 1 && rewrite::read_header(line.text)) &&
           !rewrite::is_inserted(line.text);
  }

  // The rewrite as one of the moved job, and what is not as it follows from the map.
  Status apply() {
    std::optional<rewrite::Header> header;
    std::uint64_t header_end = 0;
    auto read = each_line([&](const gcode::RawLine& line) {
      if (line.number == 1) header = rewrite::read_header(line.text);
      if (line.number == 1 && header) {
        header_end = line.text.size();
        return;
      }
      const auto waiting = std::exchange(waiting_, std::nullopt);
      // What is removed without a line for it is the plan's to give; the job has it.
      const bool stands_for = waiting && is_mapped(line.text);
      if (waiting) {
        fed_after_.line(stands_for ? code_of(line.text) : waiting->text);
        compare(waiting->line);
      }
      if (stands_for) {
        stands(line, *waiting);
      } else if (is_mapped(line.text) && !says_all(line)) {
        new_line(line);
      } else if (!rewrite::is_inserted(line.text)) {
        line_of_original(line);
      }
      if (rewrite::is_inserted(line.text)) ends_inserted_open_ = line.ending.empty();
    });
    if (!read) return read;
    if (waiting_) {
      fed_after_.line(waiting_->text);
      compare(waiting_->line);
    }
    new_lines_end(UINT64_MAX);
    while (!cooling_.empty()) not_cooled(cooling_.begin()->first);
    before_.end(ends_inserted_open_);
    after_.end(ends_inserted_open_);
    if (header && header->bytes == before_.bytes() && header->original == before_.hash()) {
      const rewrite::Header as_moved{header->rules, after_.bytes(), after_.hash()};
      out_.rewritten.insert(out_.rewritten.begin(), {0, header_end, header_line(as_moved)});
    }
    return success();
  }

  void line_of_original(const gcode::RawLine& line) {
    new_lines_end(line.number);
    const bool disabled = rewrite::is_disabled(line.text);
    std::string_view text = line.text;
    if (disabled) text.remove_prefix(rewrite::kDisabled.size());
    before_.line(text, line.ending);
    fed_before_.line(text);
    const bool changes =
        next_ < changes_.size() && !changes_[next_].inserted && changes_[next_].line == line.number;
    if (!changes) {
      after_.line(text, line.ending);
      fed_after_.line(text);
      compare(line.number);
      return;
    }
    const gcode::MovedLine& change = changes_[next_++];
    after_.line(change.splice.text, line.ending);
    if (!disabled) {
      fed_after_.line(text);
      mixed(line.number,
            "\"" + printable(text, 80) + "\" stays, but " + change.how + " is what the marks say");
      return;
    }
    // Taken out by the plan, unless a line that stands for it follows.
    out_.rewritten.push_back({line.offset, line.offset + line.text.size(),
                              std::string(rewrite::kDisabled) + change.splice.text});
    waiting_ = Waiting{change.splice.text, change.how, line.number};
  }

  // Whether a new line belongs before this line of the rewrite.
  [[nodiscard]] bool new_line_due(std::uint64_t line) const {
    return next_ < changes_.size() && changes_[next_].inserted && changes_[next_].line < line;
  }
  void new_lines_end(std::uint64_t line) {
    for (; new_line_due(line); ++next_) {
      mixed(line, "a line is missing before this one that the marks ask for: \"" +
                      printable(text_of(changes_[next_]), 80) + "\"");
    }
  }

  static std::string_view text_of(const gcode::MovedLine& line) {
    const std::string_view text = line.splice.text;
    return text.substr(0, text.find_last_not_of("\r\n") + 1);
  }

  // Whether filament moves, and is waited for, as in the original, by the marks alone.
  void compare(std::uint64_t line) {
    using Activity = Fed::Activity;
    const Fed& before = fed_before_;
    Fed& after = fed_after_;
    if (after.did() == Activity::fed || after.did() == Activity::heated) used(after);
    if (before.did() == Activity::cooled) return compare_cooling(line);
    if (before.did() == Activity::nothing || before.same_as(after, out_.map)) return;
    if (before.did() == Activity::heated &&
        after.waits_for(gcode::mapped(out_.map, before.tool()), before.target_c())) {
      return;  // from above, there
    }
    const std::tuple now{before.visit(), before.did(), before.target_c()};
    if (std::exchange(last_difference_, now) == now) return;
    const std::string was = "T" + std::to_string(before.tool());
    const std::string is = "T" + std::to_string(after.tool());
    if (before.did() == Activity::heated) {
      out_.findings.add(
          Id::wait_lost, line,
          was + " is waited for at " + written(before.target_c()) +
              (after.did() != Activity::heated
                   ? " C; the marks take that away"
                   : " C; the marks make it " + is + " at " + written(after.target_c()) + " C"));
      return;
    }
    const bool after_off = before.target_c() == after.target_c() && before.before_off_c() > 0;
    const double was_c = after_off ? before.before_off_c() : before.target_c();
    const double is_c = after_off ? after.before_off_c() : after.target_c();
    out_.findings.add(Id::extrusion_target, line,
                      was + " moves filament with a target of " + written(was_c) +
                          (after_off ? " C that it had before it was off" : " C") +
                          "; the marks make it " + is + " with " + written(is_c) + " C");
  }

  // Not waited for is only what is no hotter, or has to be hot for another.
  void compare_cooling(std::uint64_t line) {
    const double to_c = fed_before_.target_c();
    const int tool = gcode::mapped(out_.map, fed_before_.tool());
    const int named = gcode::mapped(out_.map, fed_before_.named());
    const std::size_t head = fed_after_.head_of(tool);
    if (head == kNone || fed_after_.waits_for(tool, to_c)) return;
    if (fed_after_.waits_for(named, to_c)) return;  // what is mounted may be used at that
    if (fed_after_.highest_c(tool) > to_c) cooling_[head] = {line, tool, to_c};
  }
  void used(const Fed& after) {
    const auto it = cooling_.find(after.head());
    if (it == cooling_.end()) return;
    if (it->second.tool == after.tool()) return not_cooled(it->first);
    cooling_.erase(it);
  }
  void not_cooled(std::size_t head) {
    const Cooling& c = cooling_[head];
    out_.findings.add(Id::wait_lost, c.line,
                      "the marks take away a wait until T" + std::to_string(c.tool) +
                          " has cooled down to " + written(c.to_c) + " C");
    cooling_.erase(head);
  }

  // The line that stands for the disabled one right before it: the two become one.
  void stands(const gcode::RawLine& line, const Waiting& waiting) {
    const std::string_view code = code_of(line.text);
    if (code != waiting.text) {
      mixed(line.number, "\"" + printable(code, 80) + "\", but the marks make it \"" +
                             printable(waiting.text, 80) + "\"");
    } else if (how_of(line.text) != waiting.how) {
      mixed(line.number, "the mark says \"" + printable(how_of(line.text), 80) +
                             "\", but the marks make it \"" + printable(waiting.how, 80) + "\"");
    }
    Splice& splice = out_.rewritten.back();
    splice.to = line.end_offset();
    splice.text = std::string(code) + std::string(line.ending);
    out_.pairs.push_back(waiting.line);
  }

  // A line of the moved job alone.
  void new_line(const gcode::RawLine& line) {
    if (!new_line_due(line.number)) {
      mixed(line.number, "no line before this one is disabled that names a moved tool");
      return;
    }
    const std::string as_marked(text_of(changes_[next_++]));
    const std::string_view code = code_of(line.text);
    const std::uint64_t code_end = line.offset + code.size();
    const std::uint64_t end = line.offset + line.text.size();
    after_.line(as_marked, line.ending);
    ++out_.inserted;
    if (code.substr(0, 1) == ";" && code.substr(1) == as_marked) {  // the plan has taken it out
      fed_after_.line(as_marked);
      out_.rewritten.push_back({line.offset, end, std::string(rewrite::kDisabled) + as_marked});
      return;
    }
    fed_after_.line(code);
    if (code != as_marked) {
      mixed(line.number, "\"" + printable(code, 80) + "\", but the marks make it \"" +
                             printable(as_marked, 80) + "\"");
    }
    out_.rewritten.push_back({code_end, end, std::string()});
  }

  ByteSource& rewritten_;
  const rules::Rules& rules_;
  const rules::Recogniser& recogniser_;
  std::vector<gcode::MovedLine> changes_;
  std::size_t next_ = 0;  // of these
  std::optional<Waiting> waiting_;
  Restored before_, after_;  // the original, and with its filaments moved
  Fed fed_before_, fed_after_;
  bool ends_inserted_open_ = false;
  bool any_ = false, all_said_ = false;
  std::tuple<std::uint64_t, Fed::Activity, double> last_difference_;
  // A wait for cooling down that the moved job does not have, by its toolhead there.
  struct Cooling {
    std::uint64_t line = 0;
    int tool = -1;
    double to_c = 0;
  };
  std::map<std::size_t, Cooling> cooling_;
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

Result<std::optional<Moved>> read_moved(ByteSource& rewritten, const rules::Rules& rules,
                                        const rules::Recogniser& recogniser) {
  return Reading(rewritten, rules, recogniser).run();
}

}  // namespace forewarm::check
