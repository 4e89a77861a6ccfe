#include "record/temperature_report.h"

#include <cstring>

#include "record/clock.h"

namespace forewarm::record {

namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_word(char c) {
  return is_digit(c) || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || c == '_';
}

struct Token {
  char letter = '\0';  // T, @, or another
  int number = -1;
};

// What stands right before a colon: T, T1, @, @1; or something else.
Token token_before(const char* begin, const char* colon) {
  const char* at = colon;
  while (at > begin && is_digit(at[-1])) --at;
  if (at == begin || colon - at > 4) return {};
  const char letter = at[-1];
  if (letter != 'T' && letter != '@') return {letter};
  // B@ is the bed's, and a word that ends in T is none of it.
  if (at - 1 > begin && is_word(at[-2])) return {};
  Token out{letter};
  if (at < colon) {
    out.number = 0;
    for (; at < colon; ++at) out.number = out.number * 10 + (*at - '0');
  }
  return out;
}

void skip_blanks(std::string_view& text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
}

HotendReport* find(TemperatureReport& report, int heater) {
  for (std::size_t i = 0; i < report.count; ++i) {
    if (report.list[i].heater == heater) return &report.list[i];
  }
  return nullptr;
}

}  // namespace

bool read_report(std::string_view line, TemperatureReport& report) {
  const char* const begin = line.data();
  const char* const end = begin + line.size();
  const char* from = begin;
  report.count = 0;
  report.numbered = false;
  bool other = false;  // a target, or what else only a report has
  for (;;) {
    const auto* colon = static_cast<const char*>(std::memchr(from, ':', std::size_t(end - from)));
    if (colon == nullptr) break;
    from = colon + 1;
    if (colon == begin) continue;
    const Token token = token_before(begin, colon);
    if (token.letter != 'T' && token.letter != '@') {
      other = other || token.letter == 'B' || token.letter == 'E' || token.letter == 'W';
      continue;
    }
    std::string_view rest(colon + 1, std::size_t(end - colon - 1));
    skip_blanks(rest);
    const auto value = take_number(rest);
    if (!value) continue;
    from = rest.data();
    if (token.letter == '@') {
      if (HotendReport* of_it = find(report, token.number)) of_it->duty = value;
      continue;
    }
    if (report.count == TemperatureReport::kMost || find(report, token.number) != nullptr) continue;
    HotendReport& now = report.list[report.count++];
    now = {token.number, *value, std::nullopt, std::nullopt};
    report.numbered = report.numbered || token.number >= 0;
    skip_blanks(rest);
    if (rest.empty() || rest.front() != '/') continue;
    rest.remove_prefix(1);
    skip_blanks(rest);
    now.target_c = take_number(rest);
    if (!now.target_c) continue;
    other = true;
    from = rest.data();
  }
  if (report.count == 0) return false;
  return other || line.find("ok T") != std::string_view::npos;
}

}  // namespace forewarm::record
