#include "gcode/renumber.h"

#include <algorithm>
#include <charconv>

namespace forewarm::gcode {

namespace {

Error refused(std::string message, std::string hint = {}) {
  return {Error::Kind::refused, std::move(message), "", {}, {}, "", std::move(hint)};
}

bool tool_number(double v) { return v == std::floor(v) && v >= 0 && v <= 65535; }

struct Naming {
  char letter = 0;  // 0: the line names nothing
  Named::Kind kind = Named::Kind::tool;
};

// By which letter the line names tools, or a heater.
Naming naming_of(const Words& w, bool heaters) {
  if (w.kind != LineKind::words || w.count == 0) return {};
  const auto m = [&](std::initializer_list<int> codes) {
    return std::any_of(codes.begin(), codes.end(), [&](int c) { return w.is('M', c); });
  };
  if (w.given('T')) {
    if (w.list[0].letter == 'T' || m({6, 105, 200, 221, 600, 701, 702, 900})) return {'T'};
    if (m({104, 109})) return {'T', heaters ? Named::Kind::heater : Named::Kind::tool};
  }
  if (w.given('P') && (m({116, 568}) || (w.is('G', 10) && (w.has('S') || w.has('R'))))) {
    return {'P'};
  }
  return {};
}

bool digit(char c) { return c >= '0' && c <= '9'; }
bool space(char c) { return c == ' ' || c == '\t'; }

// Whether `after` says what `before` does, but for the numbers of the letter that names, or for
// numbers altogether.
bool same_otherwise(const Words& before, const Words& after, char letter, bool any_number) {
  if (after.kind != before.kind || after.count != before.count) return false;
  for (std::size_t i = 0; i < before.count; ++i) {
    const Word& a = before.list[i];
    const Word& b = after.list[i];
    if (a.letter != b.letter) return false;
    const bool may_differ = a.letter == letter && tool_number(a.value) && tool_number(b.value);
    const bool equal = b.value == a.value || (std::isnan(b.value) && std::isnan(a.value));
    if (!equal && !may_differ && !any_number) return false;
  }
  return true;
}

}  // namespace

std::string text_of(const ToolMap& map) {
  std::string out;
  for (const auto& [from, to] : map) {
    if (!out.empty()) out += ", ";
    out += "T" + std::to_string(from) + " to T" + std::to_string(to);
  }
  return out;
}

std::optional<ToolMap> read_map(std::string_view text) {
  ToolMap out;
  const auto take = [&text](std::string_view word) {
    if (!text.starts_with(word)) return false;
    text.remove_prefix(word.size());
    return true;
  };
  const auto number = [&text](int& value) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || value < 0) return false;
    text.remove_prefix(std::size_t(end - text.data()));
    return true;
  };
  do {
    int from = 0, to = 0;
    if (!take("T") || !number(from) || !take(" to T") || !number(to)) return std::nullopt;
    if (!out.emplace(from, to).second) return std::nullopt;
  } while (take(", "));
  if (!text.empty()) return std::nullopt;
  return out;
}

std::vector<Named> numbers_named(std::string_view line, const Words& words, bool heaters) {
  std::vector<Named> out;
  const auto [letter, what] = naming_of(words, heaters);
  if (letter == 0 || !tool_number(words.value(letter))) return out;
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
    int number = 0;
    for (std::size_t k = from; k < to && number <= 65535; ++k) {
      number = number * 10 + (line[k] - '0');
    }
    if (to > from) out.push_back({from, to - from, number, what});
  }
  return out;
}

Result<std::string> with_numbers(std::string_view line, const Words& words,
                                 std::span<const Named> names, std::span<const int> to) {
  if (words.is('G', 10) && (words.has('S') || words.has('R')) &&
      (words.has('X') || words.has('Y') || words.has('Z') || words.has('L'))) {
    return refused("G10 sets a toolhead's offset and a filament's temperature on one line",
                   "put them on lines of their own");
  }
  std::string out;
  std::size_t at = 0;
  bool all_of_words = true;
  const auto own = numbers_named(line, words, false);
  for (std::size_t i = 0; i < names.size(); ++i) {
    const Named& n = names[i];
    if (n.at < at) return refused("the tool's number cannot be told from the rest of the line");
    out += line.substr(at, n.at - at);
    out += std::to_string(to[i]);
    at = n.at + n.length;
    all_of_words &= std::any_of(own.begin(), own.end(), [&n](const Named& o) {
      return o.at == n.at && o.length == n.length;
    });
  }
  out += line.substr(at);
  // Read again: nothing but those numbers may be another.
  Words again;
  parse(out, again);
  const char letter = naming_of(words, false).letter;
  if (!same_otherwise(words, again, letter, !all_of_words)) {
    return refused("the tool's number cannot be told from the rest of the line");
  }
  if (again.has_checksum) {
    const std::size_t star = std::size_t(again.code.data() - out.data()) + again.code.size();
    std::size_t after = star + 1;
    while (after < out.size() && space(out[after])) ++after;
    while (after < out.size() && digit(out[after])) ++after;
    const auto sum = checksum(std::string_view(out).substr(0, star));
    out.replace(star, after - star, "*" + std::to_string(sum));
  }
  return out;
}

std::string numbered_line(std::int64_t number, const std::string& command) {
  const std::string body = "N" + std::to_string(number) + " " + command;
  return body + "*" + std::to_string(checksum(body));
}

std::string count_set_back(std::int64_t count) {
  return numbered_line(count, "M110 N" + std::to_string(count));
}

std::vector<Splice> splices_of(const std::vector<MovedLine>& lines) {
  std::vector<Splice> out;
  out.reserve(lines.size());
  for (const MovedLine& line : lines) out.push_back(line.splice);
  return out;
}

}  // namespace forewarm::gcode
