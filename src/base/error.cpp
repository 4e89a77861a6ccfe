#include "base/error.h"

#include <algorithm>

#include "base/utf8.h"

namespace forewarm {

namespace {
constexpr std::size_t kExcerptWidth = 120;  // characters
constexpr std::string_view kReplacement = "\xef\xbf\xbd";

// The first `count` characters of `text`, or all of it.
std::string_view first_characters(std::string_view text, std::size_t count) {
  std::size_t bytes = 0;
  for (; count > 0 && bytes < text.size(); --count) {
    bytes += first_character(text.substr(bytes)).size();
  }
  return text.substr(0, bytes);
}

// printable(), whole, where `keep` of the control characters are let through.
std::string shown(std::string_view text, std::string_view keep) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) {
    const std::size_t length = utf8_sequence(text);
    const std::string_view character = text.substr(0, std::max<std::size_t>(1, length));
    text.remove_prefix(character.size());
    const auto lead = static_cast<unsigned char>(character[0]);
    const bool ascii_control = lead < 0x20 || lead == 0x7f;
    // U+0080..U+009F, the C1 controls: terminals act on them too.
    const bool c1 = length == 2 && lead == 0xc2 && static_cast<unsigned char>(character[1]) < 0xa0;
    if (length == 0) {
      out += kReplacement;  // as a lone byte, a terminal might take it for a C1 control
    } else if (c1 || (ascii_control && keep.find(character[0]) == std::string_view::npos)) {
      out.append(character.size(), '?');
    } else {
      out += character;
    }
  }
  return out;
}

// The line, cut around the column if it is long, and the caret.
std::string with_caret(const Error& error) {
  const std::size_t before = error.column > 0 ? error.column - 1 : 0;
  const std::size_t from = before < kExcerptWidth - 20 ? 0 : before - kExcerptWidth / 2;
  std::string_view rest = error.excerpt;
  rest.remove_prefix(first_characters(rest, from).size());
  const std::string_view visible = first_characters(rest, kExcerptWidth);
  const std::string lead = from > 0 ? "..." : "";
  std::string out = "\n  " + lead + shown(visible, "\t");
  if (visible.size() < rest.size()) out += "...";
  if (error.column == 0) return out;
  // One blank for each character that stands before it as shown; a tab keeps its width.
  std::string pad(lead.size(), ' ');
  for (const char c : shown(first_characters(rest, before - from), "\t")) {
    if ((static_cast<unsigned char>(c) & 0xc0U) != 0x80) pad += c == '\t' ? '\t' : ' ';
  }
  return out + "\n  " + pad + '^';
}
}  // namespace

std::string printable(std::string_view text, std::size_t limit) {
  if (text.size() <= limit) return shown(text, "\t");
  // A character that is not whole within the limit is left out.
  constexpr std::size_t kMostBytes = 4;
  for (std::size_t back = 1; back < kMostBytes && back <= limit; ++back) {
    if (utf8_sequence(text.substr(limit - back)) <= back) continue;
    limit -= back;
    break;
  }
  return shown(text.substr(0, limit), "\t") + "...";
}

std::size_t characters(std::string_view text) {
  std::size_t count = 0;
  for (; !text.empty(); ++count) text.remove_prefix(first_character(text).size());
  return count;
}

std::string render(const Error& error) {
  std::string out;
  if (!error.file.empty()) {
    out += printable(error.file, 4096);
    if (error.line > 0) out += ':' + std::to_string(error.line);
    if (error.line > 0 && error.column > 0) out += ':' + std::to_string(error.column);
    out += ": ";
  } else if (error.line > 0) {
    out += "line " + std::to_string(error.line) + ": ";
  }
  // Messages and hints may run over several lines, and may quote what others wrote.
  out += shown(error.message, "\t\n");
  if (!error.excerpt.empty() && error.line > 0) out += with_caret(error);
  if (!error.hint.empty()) out += "\n  hint: " + shown(error.hint, "\t\n");
  return out;
}

}  // namespace forewarm
