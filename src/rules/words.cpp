#include "rules/words.h"

#include <numeric>
#include <vector>

namespace forewarm::rules {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1), above = row, above_it = row;
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    above_it.swap(above);
    above.swap(row);
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const bool same = a[i - 1] == b[j - 1];
      row[j] = std::min({above[j] + 1, row[j - 1] + 1, above[j - 1] + (same ? 0U : 1U)});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) row[j] = std::min(row[j], above_it[j - 2] + 1);
    }
  }
  return row[b.size()];
}

std::string quoted(std::string_view word) { return '"' + printable(word, 80) + '"'; }

std::string toml_string(std::string_view text) {
  constexpr std::string_view kHex = "0123456789ABCDEF";
  std::string out = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte == 0x7f) {
      out.append("\\u00").append({kHex[byte >> 4U], kHex[byte & 15U]});
      continue;
    }
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  return out + '"';
}

std::string toml_pattern(std::string_view text) {
  const bool literal = std::none_of(text.begin(), text.end(), [](char c) {
    return c == '\'' || c == 0x7f || static_cast<unsigned char>(c) < 0x20;
  });
  return literal ? '\'' + std::string(text) + '\'' : toml_string(text);
}

}  // namespace forewarm::rules
