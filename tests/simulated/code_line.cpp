#include "code_line.h"

#include <algorithm>
#include <cctype>
#include <cstdlib>

namespace simulated {
namespace {

bool blank(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\n'; }
char upper(char c) { return char(std::toupper(static_cast<unsigned char>(c))); }
bool part_of_number(char c) { return (c >= '0' && c <= '9') || c == '.' || c == '-' || c == '+'; }

// The number that begins at `at`, blanks within it left out; `at` goes behind it.
std::optional<double> number_at(std::string_view text, std::size_t& at) {
  std::string digits;
  for (; at < text.size() && (part_of_number(text[at]) || blank(text[at])); ++at) {
    if (blank(text[at])) continue;
    if ((text[at] == '-' || text[at] == '+') && !digits.empty()) break;
    digits += text[at];
  }
  char* end = nullptr;
  const double value = std::strtod(digits.c_str(), &end);
  if (digits.empty() || end == digits.c_str()) return std::nullopt;
  return value;
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

std::string without_comments(std::string_view line) {
  std::string out;
  bool inside = false;
  for (char c : line) {
    if (c == ';' && !inside) break;
    if (c == '(') inside = true;
    if (!inside) out += c;
    if (c == ')') inside = false;
  }
  return out;
}

}  // namespace

std::optional<double> CodeLine::value(char word) const {
  for (std::size_t at = 0; at < text.size();) {
    const char letter_here = upper(text[at++]);
    if (!std::isalpha(static_cast<unsigned char>(letter_here))) continue;
    const std::optional<double> number_here = number_at(text, at);
    if (letter_here == word) return number_here.value_or(0);
  }
  return std::nullopt;
}

CodeLine read_line(std::string_view line) {
  CodeLine out;
  std::string code = without_comments(line);
  std::string_view rest = trimmed(code);
  if (!rest.empty() && upper(rest.front()) == 'N') {
    std::size_t at = 1;
    if (!number_at(rest, at)) return out;
    rest = trimmed(rest.substr(at));
    rest = trimmed(rest.substr(0, rest.rfind('*')));
  }
  if (rest.empty()) return out;
  const char letter = upper(rest.front());
  std::size_t at = 1;
  // M118 and the like: a number at once, not a word of letters.
  while (at < rest.size() && blank(rest[at])) ++at;
  std::size_t end = at;
  while (end < rest.size() && rest[end] >= '0' && rest[end] <= '9') ++end;
  if ((letter != 'G' && letter != 'M' && letter != 'T') || end == at || end - at > 6) return out;
  out.letter = letter;
  out.number = std::atoi(std::string(rest.substr(at, end - at)).c_str());
  if (end < rest.size() && rest[end] == '.') out.number = -1;  // G92.1 is another command
  out.text = std::string(trimmed(rest.substr(end)));
  return out;
}

}  // namespace simulated
