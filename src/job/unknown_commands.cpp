#include "job/unknown_commands.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace forewarm::job {

namespace {

constexpr std::size_t kMostBytes = 100, kMostText = 200;

bool digit(char c) { return c >= '0' && c <= '9'; }
bool letter(char c) { return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); }
bool blank(char c) { return c == ' ' || c == '\t'; }

struct Codes {
  int first, last;
};

// Commands that take no time, or whose time the clock has. From memory, by the RepRap convention.
constexpr std::array kQuickG{Codes{0, 4},   Codes{10, 11}, Codes{17, 22}, Codes{53, 61},
                             Codes{68, 69}, Codes{80, 80}, Codes{90, 99}};
constexpr std::array kQuickM{
    Codes{17, 18},   Codes{20, 32},   Codes{42, 42},   Codes{73, 73},   Codes{75, 78},
    Codes{80, 85},   Codes{92, 92},   Codes{98, 99},   Codes{104, 115}, Codes{117, 122},
    Codes{140, 140}, Codes{141, 141}, Codes{143, 150}, Codes{154, 155}, Codes{163, 166},
    Codes{200, 221}, Codes{240, 240}, Codes{250, 261}, Codes{280, 282}, Codes{290, 290},
    Codes{300, 302}, Codes{304, 309}, Codes{355, 355}, Codes{400, 400}, Codes{404, 410},
    Codes{412, 413}, Codes{420, 422}, Codes{428, 428}, Codes{430, 430}, Codes{486, 486},
    Codes{500, 504}, Codes{524, 524}, Codes{540, 595}, Codes{603, 603}, Codes{665, 669},
    Codes{851, 851}, Codes{862, 862}, Codes{900, 928}};

template <std::size_t n>
bool in(const std::array<Codes, n>& codes, double code) {
  const int whole = static_cast<int>(code);
  return std::any_of(codes.begin(), codes.end(),
                     [whole](Codes c) { return whole >= c.first && whole <= c.last; });
}

}  // namespace

std::string_view command_of(const gcode::Words& words) {
  std::string_view code = words.code;
  const auto trim = [&code] {
    while (!code.empty() && blank(code.front())) code.remove_prefix(1);
    while (!code.empty() && blank(code.back())) code.remove_suffix(1);
  };
  trim();
  if (words.numbered) {
    std::size_t i = 1;
    while (i < code.size() && blank(code[i])) ++i;
    while (i < code.size() && digit(code[i])) ++i;
    code.remove_prefix(std::min(i, code.size()));
    trim();
  }
  return code;
}

std::size_t past_number(std::string_view text, std::size_t i) {
  while (i < text.size() && digit(text[i])) ++i;
  if (i + 1 < text.size() && text[i] == '.' && digit(text[i + 1])) {
    for (++i; i < text.size() && digit(text[i]);) ++i;
  }
  return i;
}

std::string shape_of(const gcode::Words& words) {
  const std::string_view code = command_of(words);
  std::string out;
  std::size_t i = 0;
  if (words.kind == gcode::LineKind::words) {
    while (i < code.size() && (i == 0 || digit(code[i]) || code[i] == '.')) out += code[i++];
  }
  for (bool gap = false; i < code.size() && out.size() < kMostBytes;) {
    const char c = code[i];
    if (blank(c)) {
      gap = true;
      ++i;
      continue;
    }
    if (gap) out += ' ';
    gap = false;
    if (!digit(c)) {
      out += c;
      ++i;
      continue;
    }
    i = past_number(code, i);
    out += '#';
  }
  return out;
}

bool may_take_time(const gcode::Words& words) {
  if (words.kind == gcode::LineKind::named) return true;
  if (words.kind == gcode::LineKind::unknown) return !words.code.empty() && letter(words.code[0]);
  if (words.kind != gcode::LineKind::words || words.count == 0) return false;
  const gcode::Word& first = words.list[0];
  if (std::isnan(first.value) || first.value < 0 || first.value > 9999) return false;
  if (first.letter == 'G') return !in(kQuickG, first.value);
  return first.letter == 'M' && !in(kQuickM, first.value);
}

void UnknownCommands::take(std::uint64_t line, const machine::InterpretedLine& read) {
  if (!may_take_time(read.words) || !read.recognised.empty() || read.seconds ||
      read.effect.pauses) {
    return;
  }
  std::string shape = shape_of(read.words);
  const auto found = by_shape_.find(shape);
  if (found != by_shape_.end()) {
    ++found->second.count;
  } else if (by_shape_.size() < kMostShapes) {
    UnknownCommand command{shape, std::string(command_of(read.words).substr(0, kMostText)), line,
                           1};
    by_shape_.emplace(std::move(shape), std::move(command));
  }
}

std::vector<UnknownCommand> UnknownCommands::list() const {
  std::vector<UnknownCommand> out;
  for (const auto& [shape, command] : by_shape_) out.push_back(command);
  std::sort(out.begin(), out.end(), [](const UnknownCommand& a, const UnknownCommand& b) {
    return std::pair(b.count, a.line) < std::pair(a.count, b.line);
  });
  return out;
}

}  // namespace forewarm::job
