// The fast way through a text against the slow one: the same lines, and of a straight move the same
// state, to the bit.
#include "gcode/linear_move.h"

#include <catch2/catch.hpp>

#include <bit>
#include <random>
#include <string>

#include "gcode/blocks.h"
#include "gcode/lines.h"

using namespace forewarm;

namespace {

std::string shown(const gcode::State& s, const std::array<double, 4>& delta) {
  std::string out;
  const auto put = [&](double v) { out += std::to_string(std::bit_cast<std::uint64_t>(v)) + ' '; };
  for (const double v : s.position) put(v);
  for (const double v : delta) put(v);
  put(s.feed_mm_s);
  return out + std::to_string(s.motion);
}

struct Gone {
  std::string lines;  // where each stands, how long it and its ending are, and the state after it
  std::size_t fast = 0;
};

Gone slowly(const std::string& text) {
  Gone out;
  TextSource source(text);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  gcode::Words words;
  gcode::State state;
  gcode::Effect effect;
  for (;;) {
    const auto more = reader.next(line);
    REQUIRE(more);
    if (!*more) return out;
    gcode::parse(line.text, words);
    gcode::apply(words, state, effect);
    out.lines += std::to_string(line.offset) + ' ' + std::to_string(line.text.size()) + ' ' +
                 std::to_string(line.ending.size()) + ' ' + shown(state, effect.delta) + '\n';
  }
}

Gone fast(const std::string& text, std::size_t most, std::size_t chunk) {
  Gone out;
  TextSource source(text, most);
  gcode::BlockReader reader(source, chunk);
  gcode::Block block;
  gcode::ParsedBlock digest;
  gcode::Words words;
  gcode::State state;
  gcode::Effect effect;
  std::string_view fresh;
  std::string read;
  for (;;) {
    const auto more = reader.next(block, fresh);
    REQUIRE(more);
    read += fresh;
    if (!*more) break;
    gcode::digest(block, digest);
    std::size_t at = 0;
    for (std::size_t i = 0; i < digest.count; ++i) {
      const gcode::LinearMove& line = digest.lines[i];
      std::array<double, 4> delta{};
      if (line.is() && !state.inverse_time) {
        gcode::apply(line, state, delta);
        ++out.fast;
        const std::string_view whole = block.text().substr(at, line.length());
        CHECK(line.commented() == (whole.find(';') != std::string_view::npos));
      } else {
        gcode::parse(block.text().substr(at, line.length()), words);
        gcode::apply(words, state, effect);
        delta = effect.delta;
      }
      out.lines += std::to_string(block.offset + at) + ' ' + std::to_string(line.length()) + ' ' +
                   std::to_string(line.ending()) + ' ' + shown(state, delta) + '\n';
      at += line.length() + line.ending();
    }
    CHECK(at == block.size);
  }
  CHECK(read == text);
  return out;
}

}  // namespace

TEST_CASE("straight moves in the usual spelling are read fast, and as parse() reads them") {
  struct Row {
    const char* text;
    std::size_t fast;
  };
  const Row rows[] = {
      {"", 0},
      {"G1 X1", 0},  // no line ending: the end might be cut off
      {"G1 X1\n", 1},
      {"G0 X1 Y-2.5 Z.3 E0.04219 F12000\r\n", 1},
      {"G1 F1800\nG1\nG0 \n", 3},
      {"G1X1Y2E3\nG1  X1   Y2  \n", 2},
      {"G1 X1 ; wall\nG1 X2;\r\nG1 X3 ; no ending", 3},
      {"G1 X0.1 Y123.456 E12345.67891 F1200.5\nG1 E-0.8 F2100\n", 2},
      {"G1 X1.2345678 E123456789012345\nG1 X-2147483648 Y214748.3647 F2147483647\n", 2},
      {"G91\nG1 X1 E1\nG1 X0.1 E.1\nM83\nG90\nG1 X1 E1\nG20\nG1 X1 E1 F60\n", 4},
      {"G1 X9999999999 Y1\nG91\nG1 X1e9\nG1 X999999999\nG1 X999999999\n", 2},
      {"G93\nG1 X1 F2\nG94\nG1 X2\n", 1},
      // Not in the usual spelling: read by words, whatever they come to.
      {"g1 X1\nG01 X1\nG1 x1\n G1 X1\nN1 G1 X1\nG1 X1*33\nG10 X1\nG1.0 X1\nG2 X1 Y1 R1\n", 0},
      {"G1 X 1\nG1 X1 2\nG1 X1. 2\nG1 X+1\nG1 X\nG1 X.\nG1 X1.2.3\nG1 X--1\nG1 X1-2\nG1\tX1\n", 0},
      {"G1 X1 X2\nG1 X1 A2\nG1 X1 G90\nG1 (a) X1\nG1 X1\rY2\nG1 X1 M83\nG1 X1 T1\n/G1 X1\n", 0},
      {"G1 X1234567890123456\nG1 X0.123456789\nG1 X1.1234567890123456789\nG1 \"X1\"\n", 0},
      // Nor what a LinearMove has no room for.
      {"G1 X2147483648\nG1 Y-2147.483649\nG1 Z99999999999\nG1 F2147483648\nG1 X-0 Y-0.0\nG1 E-0\n",
       0},
      {"\xef\xbb\xbfG1 X1\n\n\r\n;\nM117 G1 X1\n", 0},
  };
  for (const Row& row : rows) {
    INFO(row.text);
    const auto want = slowly(row.text).lines;
    for (const std::size_t chunk : {1U, 5U, 16U, 4096U}) {
      for (const std::size_t most : {std::size_t{1}, std::size_t{3}, SIZE_MAX}) {
        const Gone got = fast(row.text, most, chunk);
        CHECK(got.lines == want);
        CHECK(got.fast == row.fast);
      }
    }
  }
}

TEST_CASE("whatever a line holds, fast and slow agree") {
  constexpr std::string_view kPieces[] = {
      "G1",        "G0",  "G1",  "X",        "Y",      "Z",      "E",         "F",     " ",
      " ",         ".",   "-",   "1",        "20",     "345",    "6789",      "0.042", "12345",
      "678.90123", "\n",  "\n",  "\r\n",     "\nG1 X", "\nG0 Y", " ; c",      "\r",    "G91",
      "G90",       "M83", "G20", "G92",      "*",      "N",      "T1",        "\t",    "+",
      "e",         "(",   ")",   "99999999", "000000", "\"",     "G1 X1.5 Y2"};
  std::mt19937 random(5);
  for (int round = 0; round < 3000; ++round) {
    std::string text;
    const auto pieces = random() % 120;
    for (std::size_t i = 0; i < pieces; ++i) text += kPieces[random() % std::size(kPieces)];
    INFO(text);
    REQUIRE(fast(text, SIZE_MAX, 1 + random() % 64).lines == slowly(text).lines);
  }
}

TEST_CASE("decimals of all lengths are rounded as parse() rounds them") {
  std::mt19937 random(7);
  std::string text;
  for (int i = 0; i < 20000; ++i) {
    text += random() % 2 ? "G1 X" : "G0 E-";
    for (auto n = random() % 10; n > 0; --n) text += char('0' + random() % 10);
    text += '.';
    for (auto n = 1 + random() % 9; n > 0; --n) text += char('0' + random() % 10);
    text += '\n';
  }
  const Gone got = fast(text, SIZE_MAX, 4096);
  CHECK(got.lines == slowly(text).lines);
  CHECK(got.fast > 13000);
}

TEST_CASE("a line longer than a block makes it grow") {
  const std::string text =
      "G1 X1\n;" + std::string(100'000, 'x') + "\nG1 X2\nG1 X3 ;" + std::string(5000, 'y') + "\n";
  CHECK(fast(text, 1000, 64).lines == slowly(text).lines);
}

TEST_CASE("digest: with E in mm3, too") {
  const std::string text =
      "M200 D1.75\nG1 X1 E2.5 F600\nM83\nG1 X2 E.125\nG1 E-3\nG20\nG1 X1 E0.01\nM200 D0\n"
      "G1 X2 E1\n";
  const Gone read = fast(text, SIZE_MAX, 1U << 20U);
  CHECK(read.lines == slowly(text).lines);
  CHECK(read.fast == 5);
}
