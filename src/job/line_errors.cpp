#include "job/line_errors.h"

namespace forewarm::job {

namespace {

constexpr std::size_t kMaxExcerpt = 4096;

std::size_t column_of(std::string_view text, char letter) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    if ((text[i] & ~0x20) == letter) return characters(text.substr(0, i)) + 1;
  }
  return 1;
}

}  // namespace

Error LineErrors::of_job(std::string message, std::string hint) const {
  return {Error::Kind::refused, std::move(message), name_, {}, {}, {}, std::move(hint)};
}

Error LineErrors::at(const gcode::RawLine& line, std::size_t column, std::string message,
                     std::string hint) const {
  Error e = of_job(std::move(message), std::move(hint));
  e.line = line.number;
  e.column = column;
  e.excerpt = std::string(line.text.substr(0, kMaxExcerpt));
  return e;
}

Error LineErrors::at_letter(const gcode::RawLine& line, char letter, std::string message,
                            std::string hint) const {
  return at(line, column_of(line.text, letter), std::move(message), std::move(hint));
}

}  // namespace forewarm::job
