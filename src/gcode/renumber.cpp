#include "gcode/renumber.h"

#include <algorithm>

#include "gcode/lines.h"

namespace forewarm::gcode {

namespace {

Error refused(std::string message, std::string hint = {}) {
  return {Error::Kind::refused, std::move(message), "", {}, {}, "", std::move(hint)};
}

bool tool_number(double v) { return v == std::floor(v) && v >= 0 && v <= 65535; }

// The letter by which the line names a tool; 0: by none.
char naming_letter(const Words& w, bool heaters) {
  if (w.kind != LineKind::words || w.count == 0) return 0;
  const auto m = [&](std::initializer_list<int> codes) {
    return std::any_of(codes.begin(), codes.end(), [&](int c) { return w.is('M', c); });
  };
  if (w.given('T')) {
    if (w.list[0].letter == 'T' || m({6, 105, 200, 221, 600, 701, 702, 900})) return 'T';
    if (!heaters && m({104, 109})) return 'T';
  }
  if (w.given('P') && (m({116, 568}) || (w.is('G', 10) && (w.has('S') || w.has('R'))))) return 'P';
  return 0;
}

bool digit(char c) { return c >= '0' && c <= '9'; }
bool space(char c) { return c == ' ' || c == '\t'; }

}  // namespace

std::vector<Named> tools_named(std::string_view line, const Words& words, bool heaters) {
  std::vector<Named> out;
  const char letter = naming_letter(words, heaters);
  if (letter == 0) return out;
  const auto code = std::size_t(words.code.data() - line.data()) + words.code.size();
  for (std::size_t i = 0; i < code; ++i) {
    const char c = line[i];
    if (c == '(' || c == '"') {  // comments and quoted text
      i = std::min(code, line.find(c == '(' ? ')' : '"', i + 1));
      continue;
    }
    if ((c & ~0x20) != letter) continue;
    std::size_t from = i + 1;
    while (from < code && space(line[from])) ++from;
    std::size_t to = from;
    while (to < code && digit(line[to])) ++to;
    int tool = 0;
    for (std::size_t k = from; k < to && tool <= 65535; ++k) tool = tool * 10 + (line[k] - '0');
    if (to > from) out.push_back({from, to - from, tool});
  }
  return out;
}

Result<std::optional<Renumbered>> Renumbering::line(std::string_view text,
                                                    std::span<const Named> own) {
  parse(text, words_);
  const char letter = naming_letter(words_, heaters_);
  std::vector<Named> all(own.begin(), own.end());
  if (letter != 0 && tool_number(words_.value(letter))) {
    const auto words = tools_named(text, words_, heaters_);
    all.insert(all.end(), words.begin(), words.end());
  }
  if (!selected_ && (words_.is('M', 104) || words_.is('M', 109)) && !words_.given('T')) {
    seen_.insert(0);
    if (mapped(map_, 0) != 0) {
      return refused("a temperature before any tool is selected is for T0, which is to be another",
                     "the job has to say for which tool it is, with a T");
    }
  }
  if (all.empty()) return std::optional<Renumbered>();
  if (letter == 'T' && (words_.list[0].letter == 'T' || words_.is('M', 6))) selected_ = true;
  if (!own.empty()) selected_ = true;
  std::sort(all.begin(), all.end(), [](const Named& a, const Named& b) { return a.at < b.at; });
  all.erase(std::unique(all.begin(), all.end()), all.end());
  std::string how;
  for (const Named& n : all) {
    seen_.insert(n.tool);
    const int to = mapped(map_, n.tool);
    const std::string one = "T" + std::to_string(n.tool) + " to T" + std::to_string(to);
    if (to != n.tool && how.find(one) == std::string::npos) how += (how.empty() ? "" : ", ") + one;
  }
  if (how.empty()) return std::optional<Renumbered>();
  if (letter == 'P' && words_.is('G', 10) &&
      (words_.has('X') || words_.has('Y') || words_.has('Z') || words_.has('L'))) {
    return refused("G10 sets a toolhead's offset and a filament's temperature on one line",
                   "put them on lines of their own");
  }
  std::string out;
  std::size_t at = 0;
  for (const Named& n : all) {
    out += text.substr(at, n.at - at);
    out += std::to_string(mapped(map_, n.tool));
    at = n.at + n.length;
  }
  out += text.substr(at);
  // Read again: nothing but those numbers may be another.
  parse(out, again_);
  bool same = again_.kind == words_.kind && again_.count == words_.count;
  for (std::size_t i = 0; same && i < words_.count; ++i) {
    const Word& a = words_.list[i];
    const Word& b = again_.list[i];
    const double wanted =
        a.letter == letter && tool_number(a.value) ? double(mapped(map_, int(a.value))) : a.value;
    same = a.letter == b.letter &&
           (b.value == wanted || (std::isnan(b.value) && std::isnan(wanted)) || !own.empty());
  }
  if (!same) return refused("the tool's number cannot be told from the rest of the line");
  if (again_.has_checksum) {
    const std::size_t star = std::size_t(again_.code.data() - out.data()) + again_.code.size();
    std::size_t after = star + 1;
    while (after < out.size() && space(out[after])) ++after;
    while (after < out.size() && digit(out[after])) ++after;
    out = out.substr(0, star) + "*" +
          std::to_string(checksum(std::string_view(out).substr(0, star))) + out.substr(after);
  }
  return std::optional(Renumbered{std::move(out), std::move(how)});
}

std::optional<int> crowded(const ToolMap& map, const std::set<int>& seen) {
  std::set<int> all = seen;
  for (const auto& [from, to] : map) all.insert(from);
  std::set<int> taken;
  for (const int tool : all) {
    if (!taken.insert(mapped(map, tool)).second) return mapped(map, tool);
  }
  return std::nullopt;
}

Result<std::vector<MovedLine>> renumber(ByteSource& text, const std::string& name, Renumbering& by,
                                        const OwnNames& own) {
  std::vector<MovedLine> out;
  LineReader reader(text);
  RawLine line;
  std::vector<Named> names;
  for (;;) {
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) return out;
    names.clear();
    own(line.text, names);
    auto moved = by.line(line.text, names);
    if (!moved) {
      moved.error().file = name;
      moved.error().line = line.number;
      moved.error().column = 1;
      moved.error().excerpt = std::string(line.text.substr(0, 4096));
      return std::move(moved.error());
    }
    if (!*moved) continue;
    out.push_back({{line.offset, line.offset + line.text.size(), std::move((*moved)->text)},
                   std::move((*moved)->how)});
  }
}

std::vector<Splice> splices_of(const std::vector<MovedLine>& lines) {
  std::vector<Splice> out;
  out.reserve(lines.size());
  for (const MovedLine& line : lines) out.push_back(line.splice);
  return out;
}

}  // namespace forewarm::gcode
