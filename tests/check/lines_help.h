// A text as lines, for tests that change some of them.
#pragma once

#include <sstream>
#include <string>
#include <vector>

namespace forewarm::test {

using Lines = std::vector<std::string>;

inline Lines lines_of(const std::string& text) {
  Lines out;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) out.push_back(line);
  return out;
}

inline std::string joined(const Lines& lines) {
  std::string out;
  for (const std::string& line : lines) out += line + "\n";
  return out;
}

}  // namespace forewarm::test
