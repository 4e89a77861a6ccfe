// The words of a file as gcode/ reads them, in the canonical form of tests/oracle/words/words.mjs,
// with values as C99 hexadecimal so that nothing is lost in printing.
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <string>

#include "gcode/lines.h"
#include "gcode/words.h"

int main(int argc, char** argv) {
  using namespace forewarm;
  if (argc != 2) return 2;
  std::ifstream in(argv[1], std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  TextSource source(text);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  gcode::Words w;
  for (;;) {
    auto more = reader.next(line);
    if (!more) return 4;
    if (!*more) return 0;
    gcode::parse(line.text, w);
    bool first = true;
    for (std::size_t i = 0; i < w.count; ++i) {
      if (std::isnan(w.list[i].value) || w.list[i].letter == 'N') continue;
      std::printf("%s%c=%a", first ? "" : " ", w.list[i].letter, w.list[i].value);
      first = false;
    }
    std::printf("\n");
  }
}
