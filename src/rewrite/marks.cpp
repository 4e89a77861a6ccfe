#include "rewrite/marks.h"

#include <fmt/format.h>

#include <charconv>

namespace forewarm::rewrite {

namespace {

bool take(std::string_view& text, std::string_view prefix) {
  if (text.substr(0, prefix.size()) != prefix) return false;
  text.remove_prefix(prefix.size());
  return true;
}

bool take_number(std::string_view& text, int base, std::uint64_t& value) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, base);
  if (error != std::errc{}) return false;
  text.remove_prefix(std::size_t(end - text.data()));
  return true;
}

}  // namespace

std::size_t find_mark(std::string_view text, std::size_t from) {
  constexpr std::string_view kAnyMark = ";fw";  // all begin so
  static_assert(kInserted.substr(1, 3) == kAnyMark && kDisabled.substr(0, 3) == kAnyMark);
  // From comment to comment: most lines have none.
  for (;;) {
    from = text.find(kAnyMark.front(), from);
    if (from == std::string_view::npos || text.substr(from, kAnyMark.size()) == kAnyMark) {
      return from;
    }
    ++from;
  }
}

std::string header_line(const Header& h) {
  return fmt::format("{}1 rules={:016x} original={}:{:016x}", kHeaderStart, h.rules, h.bytes,
                     h.original);
}

std::optional<Header> read_header(std::string_view line) {
  Header h;
  std::string_view rest = line;
  if (!take(rest, kHeaderStart) || !take(rest, "1 rules=") || !take_number(rest, 16, h.rules) ||
      !take(rest, " original=") || !take_number(rest, 10, h.bytes) || !take(rest, ":") ||
      !take_number(rest, 16, h.original) || !rest.empty()) {
    return std::nullopt;
  }
  if (header_line(h) != line) return std::nullopt;  // one spelling only
  return h;
}

}  // namespace forewarm::rewrite
