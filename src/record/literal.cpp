#include "record/literal.h"

#include <cstring>

namespace forewarm::record {

namespace {

constexpr std::size_t kShortest = 3;

bool is_plain(char c) {
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
         std::string_view(" _:;=,-/<>@#%&!\"'~").find(c) != std::string_view::npos;
}

// Past the bracket or class that begins at `i`.
std::size_t past_class(std::string_view p, std::size_t i) {
  ++i;
  if (i < p.size() && p[i] == '^') ++i;
  if (i < p.size() && p[i] == ']') ++i;
  for (; i < p.size() && p[i] != ']'; ++i) {
    if (p[i] == '\\') ++i;
    // [:alpha:] holds a bracket of its own.
    if (p.substr(i, 2) == "[:") {
      const std::size_t end = p.find(":]", i);
      if (end != std::string_view::npos) i = end + 1;
    }
  }
  return i + 1;
}

// Past the group that begins at `i`.
std::size_t past_group(std::string_view p, std::size_t i) {
  int depth = 0;
  for (; i < p.size(); ++i) {
    if (p[i] == '\\') {
      ++i;
    } else if (p[i] == '[') {
      i = past_class(p, i) - 1;
    } else if (p[i] == '(') {
      ++depth;
    } else if (p[i] == ')' && --depth == 0) {
      return i + 1;
    }
  }
  return p.size();
}

}  // namespace

std::string needed_literal(std::string_view p) {
  // Flags may make case not matter, \Q may quote: rare, and then nothing is certain.
  if (p.find("(?i") != std::string_view::npos || p.find("\\Q") != std::string_view::npos) return {};
  for (std::size_t i = 0; (i = p.find("(?", i)) != std::string_view::npos; ++i) {
    const char kind = i + 2 < p.size() ? p[i + 2] : '\0';
    if (kind != ':' && kind != 'P' && kind != '<') return {};
  }
  std::string best, run;
  const auto end_run = [&] {
    if (run.size() > best.size()) best = run;
    run.clear();
  };
  for (std::size_t i = 0; i < p.size();) {
    const char c = p[i];
    std::string taken;  // what the next item surely is
    if (c == '|') return {};
    if (c == '(') {
      i = past_group(p, i);
      end_run();
    } else if (c == '[') {
      i = past_class(p, i);
      end_run();
    } else if (c == '\\') {
      // An escaped letter or digit is a class, or more.
      const char escaped = i + 1 < p.size() ? p[i + 1] : '\0';
      const bool sign = std::ispunct(static_cast<unsigned char>(escaped)) != 0;
      if (!sign) {
        if (escaped != 'd' && escaped != 's' && escaped != 'w' && escaped != 'b' &&
            escaped != 'S' && escaped != 'D' && escaped != 'W') {
          return {};
        }
        end_run();
      } else {
        taken = escaped;
      }
      i += 2;
    } else if (c == '{') {
      // How often; or a brace as it is, with whatever in it.
      const std::size_t close = p.find_first_not_of("0123456789,", i + 1);
      if (close == std::string_view::npos || p[close] != '}') return {};
      end_run();
      i = close + 1;
    } else if (is_plain(c)) {
      taken = c;
      ++i;
    } else {
      end_run();
      ++i;
    }
    const char next = i < p.size() ? p[i] : '\0';
    if (next == '?' || next == '*' || next == '{') {
      end_run();  // the item itself may not be there
    } else if (!taken.empty()) {
      run += taken;
      if (next == '+') end_run();
    }
  }
  end_run();
  return best.size() >= kShortest ? best : std::string();
}

std::size_t Finder::in(const Line& line, const Lines& lines) {
  if (literal_.empty()) return 0;
  const char* const begin = line.text.data();
  if (fills_ != lines.fills()) {
    fills_ = lines.fills();
    next_ = nullptr;
    none_ = false;
  }
  if (none_) return std::string_view::npos;
  if (next_ == nullptr || next_ < begin) {
    const std::string_view rest = lines.in_memory();
    next_ = static_cast<const char*>(
        memmem(rest.data(), rest.size(), literal_.data(), literal_.size()));
    none_ = next_ == nullptr;
    if (none_) return std::string_view::npos;
  }
  const auto at = std::size_t(next_ - begin);
  return at < line.text.size() ? at : std::string_view::npos;
}

}  // namespace forewarm::record
