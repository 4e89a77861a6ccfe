#include "base/error.h"

#include <algorithm>
#include <numeric>
#include <vector>

namespace forewarm {

namespace {
constexpr std::size_t kExcerptWidth = 120;

bool is_control(char c) {
  const auto u = static_cast<unsigned char>(c);
  return (u < 0x20 && c != '\t') || u == 0x7f;
}
}  // namespace

std::string printable(std::string_view text, std::size_t limit) {
  std::string out(text.substr(0, limit));
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (is_control(out[i])) out[i] = '?';
    // U+0080..U+009F, the C1 controls, are 0xC2 0x80..0x9F in UTF-8: terminals act on them too.
    if (static_cast<unsigned char>(out[i]) == 0xc2 && i + 1 < out.size() &&
        static_cast<unsigned char>(out[i + 1]) < 0xa0) {
      out[i] = out[i + 1] = '?';
    }
  }
  if (text.size() > limit) out += "...";
  return out;
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
  out += error.message;
  if (!error.excerpt.empty() && error.line > 0) {
    const std::size_t caret = error.column > 0 ? error.column - 1 : 0;
    const std::size_t from = caret < kExcerptWidth - 20 ? 0 : caret - kExcerptWidth / 2;
    const std::string_view whole = error.excerpt;
    const std::string_view shown = whole.substr(std::min(from, whole.size()), kExcerptWidth);
    const std::string lead = from > 0 ? "..." : "";
    out += "\n  " + lead + printable(shown, kExcerptWidth);
    if (from + shown.size() < whole.size()) out += "...";
    if (error.column > 0) {
      std::string pad = lead;
      for (std::size_t i = from; i < caret && i < whole.size(); ++i) pad += whole[i];
      for (char& c : pad) c = c == '\t' ? '\t' : ' ';
      out += "\n  " + pad + '^';
    }
  }
  if (!error.hint.empty()) out += "\n  hint: " + error.hint;
  return out;
}

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({above + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      diagonal = above;
    }
  }
  return row[b.size()];
}

}  // namespace forewarm
