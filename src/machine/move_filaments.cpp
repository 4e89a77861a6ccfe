#include "machine/move_filaments.h"

#include <fmt/format.h>

#include <utility>

#include "machine/moved_targets.h"

namespace forewarm::machine {

using gcode::Named;

FilamentMove::FilamentMove(const rules::Rules& rules, const rules::Recogniser& recogniser,
                           gcode::ToolMap map)
    : rules_(rules), map_(std::move(map)), reader_(rules, recogniser) {
  std::erase_if(map_, [](const auto& pair) { return pair.first == pair.second; });
}

Status FilamentMove::line(const gcode::RawLine& raw) {
  return reader_.read(raw) ? success() : renumber(raw);
}

Result<std::vector<gcode::MovedLine>> FilamentMove::finish() {
  return move_targets(rules_, reader_.interpreter(), reader_.heads(), reader_.visits(), map_,
                      std::move(lines_));
}

Status FilamentMove::renumber(const gcode::RawLine& raw) {
  std::string how;
  std::vector<int> to;
  for (const Named& n : reader_.names()) {
    to.push_back(n.kind == Named::Kind::tool ? gcode::mapped(map_, n.number) : n.number);
    if (to.back() == n.number) continue;
    const std::string one = fmt::format("T{} to T{}", n.number, to.back());
    if (how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return success();
  auto line = gcode::with_numbers(reader_.text(), reader_.words(), reader_.names(), to);
  if (!line) {
    return refused_line(raw.number, reader_.text(), 0, line.error().message, line.error().hint);
  }
  lines_.push_back(
      {{raw.offset, raw.offset + raw.text.size(), std::move(*line)}, std::move(how), raw.number});
  return success();
}

Result<std::vector<gcode::MovedLine>> moved_lines(ByteSource& text, const std::string& name,
                                                  FilamentMove& move) {
  const auto placed = [&name](Error e) {
    if (e.line > 0) e.file = name;
    return e;
  };
  gcode::LineReader reader(text);
  gcode::RawLine line;
  for (;;) {
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) break;
    if (auto s = move.line(line); !s) return placed(std::move(s.error()));
  }
  auto lines = move.finish();
  if (!lines) return placed(std::move(lines.error()));
  return lines;
}

}  // namespace forewarm::machine
