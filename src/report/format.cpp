#include "report/format.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/error.h"
#include "base/utf8.h"
#include "report/columns.h"

namespace forewarm::report {

namespace {
// Whole seconds that fit, whatever comes in.
long long whole(double seconds) {
  if (!std::isfinite(seconds)) return 0;
  return std::llround(std::clamp(seconds, 0.0, 1e12));
}
}  // namespace

std::string duration(double seconds) {
  if (!std::isfinite(seconds)) return "-";
  if (seconds <= 0) return "0 s";
  if (seconds < 59.95) return number(seconds, 1) + " s";
  const long long s = whole(seconds);
  if (s < 3600) return fmt::format("{} min {:02} s", s / 60, s % 60);
  const long long minutes = whole(seconds / 60);
  return fmt::format("{} h {:02} min", minutes / 60, minutes % 60);
}

std::string clock(double seconds) {
  const long long s = whole(seconds);
  return fmt::format("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
}

std::string size(std::uint64_t bytes) {
  if (bytes < 1000) return counted(bytes, "byte", "bytes");
  const double b = double(bytes);
  if (b < 999'950) return fmt::format("{:.1f} kB", b / 1e3);
  if (b < 999'950'000) return fmt::format("{:.1f} MB", b / 1e6);
  return fmt::format("{:.1f} GB", b / 1e9);
}

std::string number(double x, int digits) {
  if (!std::isfinite(x)) return "-";
  std::string out = fmt::format("{:.{}f}", x, digits);
  if (out[0] == '-' && out.find_first_not_of("-0.") == std::string::npos) out.erase(0, 1);
  return out;
}

std::string counted(std::uint64_t n, std::string_view one, std::string_view many) {
  return fmt::format("{} {}", n, n == 1 ? one : many);
}

std::string cut_to(const std::string& whole, std::size_t width) {
  if (columns_of(whole) <= width) return whole;
  return std::string(first_columns(whole, width - 3)) + "...";
}

std::string wrapped(std::string_view text, std::size_t indent, std::size_t width) {
  constexpr std::size_t kMost = 90;  // common practice, no source
  width = std::min(width, kMost);
  std::string out(indent, ' ');
  std::size_t column = indent;
  while (!text.empty()) {
    const std::string_view word = text.substr(0, text.find(' '));
    text.remove_prefix(std::min(text.size(), word.size() + 1));
    const std::size_t length = columns_of(word);
    if (column > indent && column + 1 + length > width) {
      out += '\n' + std::string(indent, ' ');
      column = indent;
    } else if (column > indent) {
      out += ' ';
      ++column;
    }
    out += word;
    column += length;
  }
  return out + '\n';
}

namespace {

// The controls of direction, U+202A..U+202E and U+2066..U+2069, as UTF-8: with one of them, what
// stands behind a name would be shown from right to left.
bool turns_the_text(std::string_view character) {
  if (character.size() != 3 || character[0] != '\xe2') return false;
  const auto last = static_cast<unsigned char>(character[2]);
  return character[1] == '\x80' ? last >= 0xaa && last <= 0xae
                                : character[1] == '\x81' && last >= 0xa6 && last <= 0xa9;
}

}  // namespace

std::string clean(std::string_view text, std::size_t limit) {
  constexpr std::string_view kReplacement = "\xef\xbf\xbd";
  const std::string shown = printable(text, limit);
  std::string out;
  for (std::string_view rest = shown; !rest.empty();) {
    if (rest[0] == '\t') {
      out += ' ';  // a tab would break the columns
      rest.remove_prefix(1);
    } else if (const std::size_t n = utf8_sequence(rest); n > 0) {
      out += turns_the_text(rest.substr(0, n)) ? kReplacement : rest.substr(0, n);
      rest.remove_prefix(n);
    } else {
      out += kReplacement;
      rest.remove_prefix(1);
    }
  }
  return out;
}

std::string escaped(std::string_view text) {
  std::string out;
  for (const char c : clean(text, 4096)) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      case '\'':
        out += "&#39;";
        break;
      default:
        out += c;
    }
  }
  return out;
}

double thousandths(double x) {
  if (std::abs(x) < 1e12) x = std::round(x * 1e3) / 1e3;  // beyond, there are no thousandths
  return x + 0.0;                                         // -0 is 0
}

std::string hash_text(std::uint64_t hash) { return fmt::format("{:016x}", hash); }

std::string rules_words(const rules::Rules& rules) {
  std::string out = clean(rules.file, 4096) + ", " + hash_text(rules.hash);
  for (const std::string& s : rules.settings) out += ", " + clean(s, 4096);
  return out;
}

std::string without_controls(std::string_view json) {
  std::string out;
  out.reserve(json.size());
  for (std::size_t i = 0; i < json.size(); ++i) {
    const auto c = static_cast<unsigned char>(json[i]);
    const auto next = i + 1 < json.size() ? static_cast<unsigned char>(json[i + 1]) : 0U;
    if (c == 0x7f) {
      out += "\\u007f";
    } else if (c == 0xc2 && next >= 0x80 && next < 0xa0) {
      out += fmt::format("\\u00{:02x}", next);
      ++i;
    } else {
      out += json[i];
    }
  }
  return out;
}

std::string csv_field(double x) {
  return std::isfinite(x) ? fmt::format("{}", thousandths(x)) : std::string();
}

std::string csv_field(std::string_view text) {
  if (text.find_first_of(",\"\r\n") == std::string_view::npos) return std::string(text);
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += c;
    out += c;
  }
  return out + '"';
}

}  // namespace forewarm::report
