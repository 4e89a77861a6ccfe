#include "gcode/lines.h"

#include <catch2/catch.hpp>

#include <string>

using namespace forewarm;

namespace {

std::string read(const std::string& text, std::size_t most, std::size_t chunk) {
  TextSource source(text, most);
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, chunk);
  gcode::RawLine line;
  std::string out;
  for (;;) {
    auto more = reader.next(line);
    REQUIRE(more);
    if (!*more) return out;
    out += std::to_string(line.number) + "@" + std::to_string(line.offset) + "[" +
           std::string(line.text) + "]" + std::to_string(line.ending.size()) + " ";
  }
}

}  // namespace

TEST_CASE("lines come out the same wherever reads end") {
  const std::string text = "a\r\n\nbb\rb\n\r\nlast\r";
  const std::string expected = "1@0[a]2 2@3[]1 3@4[bb\rb]1 4@9[]2 5@11[last\r]0 ";
  for (std::size_t most = 1; most <= text.size() + 1; ++most) {
    for (std::size_t chunk = 1; chunk <= text.size() + 1; ++chunk) {
      CHECK(read(text, most, chunk) == expected);
    }
  }
}

TEST_CASE("ends of texts") {
  CHECK(read("", 1, 1) == "");
  CHECK(read("\n", 1, 1) == "1@0[]1 ");
  CHECK(read("x", 1, 1) == "1@0[x]0 ");
  CHECK(read("x\n", 1, 1) == "1@0[x]1 ");
}

TEST_CASE("a line of ten megabytes is a line") {
  const std::string text = std::string(10'000'000, 'x') + "\nnext\n";
  TextSource source(text);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  REQUIRE(*reader.next(line));
  CHECK(line.text.size() == 10'000'000);
  REQUIRE(*reader.next(line));
  CHECK(line.text == "next");
}

TEST_CASE("a read that fails is passed on") {
  struct Failing final : ByteSource {
    std::uint64_t size() const override { return 10; }
    Result<std::size_t> read_at(std::uint64_t, std::span<char>) override {
      return Error{Error::Kind::io, "no"};
    }
  } source;
  gcode::LineReader reader(source);
  gcode::RawLine line;
  auto more = reader.next(line);
  REQUIRE_FALSE(more);
  CHECK(more.error().message == "no");
}
