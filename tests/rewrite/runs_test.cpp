// Runs against the lines they are made of, one by one.
#include "rewrite/runs.h"

#include <catch2/catch.hpp>
#include <random>
#include <string>

#include "gcode/lines.h"
#include "rewrite/marks.h"

using namespace forewarm;
using rewrite::Run;

namespace {

// Kind and bytes of each run, those of plain ones joined: where these are cut is the reader's.
std::string runs(const std::string& text, std::size_t most, std::size_t chunk) {
  TextSource source(text, most);
  rewrite::RunReader reader(source, chunk);
  Run run;
  std::string out;
  std::uint64_t at = 0;
  bool plain = false;
  for (;;) {
    const auto more = reader.next(run);
    REQUIRE(more);
    if (!*more) break;
    CHECK(run.offset == at);
    CHECK_FALSE(run.bytes.empty());
    at += run.bytes.size();
    if (!plain || run.kind != Run::Kind::plain) out += "|" + std::to_string(int(run.kind)) + " ";
    plain = run.kind == Run::Kind::plain;
    out += run.bytes;
  }
  CHECK(at == text.size());
  return out;
}

std::string by_lines(const std::string& text) {
  TextSource source(text);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  std::string out;
  bool plain = false;
  for (;;) {
    const auto more = reader.next(line);
    REQUIRE(more);
    if (!*more) return out;
    const Run::Kind kind = line.number == 1                  ? Run::Kind::first
                           : rewrite::is_inserted(line.text) ? Run::Kind::inserted
                           : rewrite::is_disabled(line.text) ? Run::Kind::disabled
                                                             : Run::Kind::plain;
    if (!plain || kind != Run::Kind::plain) out += "|" + std::to_string(int(kind)) + " ";
    plain = kind == Run::Kind::plain;
    out += line.text;
    out += line.ending;
  }
}

}  // namespace

TEST_CASE("runs are the lines, plain ones together") {
  const std::string head = ";forewarm 1\n";
  for (const std::string& text :
       {std::string(), std::string("\n"), std::string("G1 ;fw+ first lines are none\nG1\n"), head,
        head + "G1 X1\nG1 X2\nM104 S1 ;fw+ why\nG1 X3\n;fw- M104 S2\nG1 X4",
        head + ";fw- M104 S2\r\n;fw- M104 S3\r\nM104 S1 ;fw+ why",
        head + ";fw-M104\n ;fw- M104\nG1;fw+ x\nG1 ;fw+x\n; ;fw ;fw+ yes\n;fw- \n;fw\n"}) {
    for (const std::size_t chunk : {1U, 7U, 4096U}) {
      CHECK(runs(text, SIZE_MAX, chunk) == by_lines(text));
      CHECK(runs(text, 3, chunk) == by_lines(text));
    }
  }
}

TEST_CASE("whatever the lines hold") {
  constexpr std::string_view kPieces[] = {"G1 X1", ";fw- ", " ;fw+ ", ";fw",    "\n", "\n",
                                          "\r\n",  "\r",    "M104",   "; wall", " ",  "w"};
  std::mt19937 random(3);
  for (int round = 0; round < 2000; ++round) {
    std::string text;
    for (auto n = random() % 60; n > 0; --n) text += kPieces[random() % std::size(kPieces)];
    INFO(text);
    REQUIRE(runs(text, SIZE_MAX, 1 + random() % 40) == by_lines(text));
  }
}

TEST_CASE("how the last line ends") {
  CHECK(rewrite::last_ending("a\nb\n") == "\n");
  CHECK(rewrite::last_ending("a\r\n") == "\r\n");
  CHECK(rewrite::last_ending("\n") == "\n");
  CHECK(rewrite::last_ending("a\nb\r").empty());
  CHECK(rewrite::last_ending("").empty());
}
