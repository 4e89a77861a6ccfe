#include "rewrite/rewrite.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "gcode/lines.h"
#include "gcode/renumber.h"
#include "gcode/words.h"
#include "rewrite/marks.h"

namespace forewarm::rewrite {

namespace {

// The line ending just before `offset`, or the first one of the text; "\n" if it has none.
Result<std::string> ending_before(ByteSource& source, std::uint64_t offset) {
  char two[2];
  const std::uint64_t from = offset >= 2 ? offset - 2 : 0;
  const auto length = std::size_t(offset - from);
  std::size_t have = 0;
  while (have < length) {
    auto got = source.read_at(from + have, std::span(two + have, length - have));
    if (!got) return std::move(got.error());
    if (*got == 0) break;
    have += *got;
  }
  if (have > 0 && two[have - 1] == '\n') {
    return std::string(have == 2 && two[0] == '\r' ? "\r\n" : "\n");
  }
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, 4096);
  gcode::RawLine line;
  auto more = reader.next(line);
  if (!more) return std::move(more.error());
  return std::string(*more && !line.ending.empty() ? line.ending : "\n");
}

// Where insertions stand, endings and numbers are worked out here; EditSink only receives.
class Writer {
 public:
  Writer(ByteSource& original, const job::Job& job, EditSink& out)
      : original_(original), job_(job), out_(out) {}

  Status run(const std::vector<Edit>& edits, std::uint64_t rules_hash) {
    auto ending = ending_before(original_, 0);
    if (!ending) return std::move(ending.error());
    const std::string header = header_line({rules_hash, job_.bytes, job_.hash}) + *ending;
    if (auto s = out_.insert(header, ""); !s) return s;
    return job_.numbered ? numbered(edits) : spliced(edits);
  }

 private:
  Status spliced(const std::vector<Edit>& edits) {
    std::uint64_t at = 0;
    for (std::size_t i = 0; i < edits.size();) {
      const std::uint64_t offset = edits[i].offset;
      if (auto s = keep(at, offset); !s) return s;
      at = offset;
      const std::size_t first = i;
      while (i < edits.size() && edits[i].offset == offset && edits[i].kind == Edit::Kind::insert) {
        ++i;
      }
      std::vector<std::string> block;
      for (std::size_t k = first; k < i; ++k) {
        block.push_back(edits[k].command + std::string(kInserted) + edits[k].reason);
      }
      if (auto s = insert_block(block, offset); !s) return s;
      if (i < edits.size() && edits[i].offset == offset) {
        auto end = end_of_line(offset);
        if (!end) return std::move(end.error());
        if (auto s = out_.disable(offset, *end); !s) return s;
        at = *end;
        ++i;
      }
    }
    return keep(at, job_.bytes);
  }

  // Numbers have to be followed line by line.
  Status numbered(const std::vector<Edit>& edits) {
    gcode::LineReader reader(original_);
    gcode::RawLine line;
    gcode::Words words;
    std::optional<std::int64_t> count;
    std::size_t i = 0;
    std::uint64_t kept_from = 0;
    const auto insert_before = [&](std::uint64_t offset) -> Status {
      std::vector<std::string> block;
      for (; i < edits.size() && edits[i].offset == offset && edits[i].kind == Edit::Kind::insert;
           ++i) {
        block.push_back(with_number(edits[i].command, count, block.size() + 1) +
                        std::string(kInserted) + edits[i].reason);
      }
      if (block.empty()) return success();
      if (count) block.push_back(set_back(*count));
      if (auto s = keep(kept_from, offset); !s) return s;
      kept_from = offset;
      return insert_block(block, offset);
    };
    for (;;) {
      auto more = reader.next(line);
      if (!more) return std::move(more.error());
      if (!*more) break;
      if (auto s = insert_before(line.offset); !s) return s;
      gcode::parse(line.text, words);
      if (words.numbered) count = words.number;
      if (words.is('M', 110) && words.given('N') && std::abs(words.value('N')) < 9e15) {
        count = std::int64_t(words.value('N'));
      }
      if (i >= edits.size() || edits[i].offset != line.offset) continue;
      ++i;
      if (auto s = keep(kept_from, line.offset); !s) return s;
      kept_from = line.end_offset();
      if (auto s = out_.disable(line.offset, line.end_offset()); !s) return s;
      // Its number is missed otherwise, and the machine would ask for the line again.
      if (words.numbered) {
        if (auto s = insert_block({set_back(*count)}, kept_from); !s) return s;
      }
    }
    if (auto s = insert_before(job_.bytes); !s) return s;
    return keep(kept_from, job_.bytes);
  }

  static std::string with_number(const std::string& command, std::optional<std::int64_t> count,
                                 std::size_t ahead) {
    if (!count) return command;
    return gcode::numbered_line(*count + std::int64_t(ahead), command);
  }

  static std::string set_back(std::int64_t count) {
    return gcode::count_set_back(count) + std::string(kInserted) + "line count set back";
  }

  Status keep(std::uint64_t from, std::uint64_t to) {
    return from < to ? out_.keep(from, to) : success();
  }

  Status insert_block(const std::vector<std::string>& block, std::uint64_t offset) {
    if (block.empty()) return success();
    auto ending = ending_before(original_, offset);
    if (!ending) return std::move(ending.error());
    bool open = false;  // the text before has no line ending of its own
    if (offset == job_.bytes && offset > 0) {
      char last = 0;
      auto got = original_.read_at(offset - 1, std::span(&last, 1));
      if (!got) return std::move(got.error());
      open = last != '\n';
      // A lone CR at the end would become part of a plain LF.
      if (last == '\r') *ending = "\r\n";
    }
    for (std::size_t i = 0; i < block.size(); ++i) {
      const bool ends = !open || i + 1 < block.size();
      const std::string joins = open && i == 0 ? *ending : "";
      if (auto s = out_.insert(block[i] + (ends ? *ending : ""), joins); !s) return s;
    }
    return success();
  }

  Result<std::uint64_t> end_of_line(std::uint64_t offset) {
    gcode::LineReader reader(original_, offset, UINT64_MAX, 1, 512);
    gcode::RawLine line;
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    return *more ? line.end_offset() : offset;
  }

  ByteSource& original_;
  const job::Job& job_;
  EditSink& out_;
};

}  // namespace

std::vector<Edit> edits_of(const job::Job& job, const plan::Plan& plan, const rules::Rules& rules) {
  std::vector<Edit> edits;
  const auto filled_in = [&](std::string_view pattern, const plan::Command& c) {
    return rules::filled_in(pattern, c.tool, job.heads[c.head].heater_index, c.temp_c,
                            rules.dialect.wait_window_c);
  };
  for (const plan::Command& c : plan.commands) {
    Edit e;
    e.offset = c.at.offset;
    e.reason = c.step ? std::string(kStep) + c.reason : c.reason;
    switch (c.kind) {
      case plan::Command::Kind::raw:
        e.command = c.raw;
        break;
      case plan::Command::Kind::set:
        e.command = filled_in(rules.dialect.set, c);
        break;
      case plan::Command::Kind::wait:
        e.command = filled_in(rules.dialect.wait, c);
        break;
    }
    edits.push_back(std::move(e));
  }
  for (const std::size_t t : plan.disabled) {
    edits.push_back({job.targets[t].at.offset, Edit::Kind::disable, "", ""});
  }
  std::stable_sort(edits.begin(), edits.end(), [](const Edit& a, const Edit& b) {
    return a.offset != b.offset ? a.offset < b.offset : a.kind < b.kind;
  });
  return edits;
}

Status rewrite(ByteSource& original, const job::Job& job, const std::vector<Edit>& edits,
               std::uint64_t rules_hash, EditSink& out) {
  return Writer(original, job, out).run(edits, rules_hash);
}

Status ToSink::keep(std::uint64_t from, std::uint64_t to) {
  return sink_.copy(original_, from, to - from);
}
Status ToSink::disable(std::uint64_t from, std::uint64_t to) {
  if (auto s = sink_.write(kDisabled); !s) return s;
  return sink_.copy(original_, from, to - from);
}
Status ToSink::insert(std::string_view line, std::string_view joins) {
  if (!joins.empty()) {
    if (auto s = sink_.write(joins); !s) return s;
  }
  return sink_.write(line);
}

}  // namespace forewarm::rewrite
