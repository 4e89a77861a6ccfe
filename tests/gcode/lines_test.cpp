// What gcode/lines.h promises: the same lines wherever reads end, of any length.
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

TEST_CASE("carriage returns: one before a line feed is part of the ending, others are text") {
  CHECK(read("\r", 1, 1) == "1@0[\r]0 ");
  CHECK(read("a\r\r\n", 1, 1) == "1@0[a\r]2 ");
  CHECK(read("\r\n", 1, 1) == "1@0[]2 ");
  CHECK(read("a\n\rb\n", 1, 1) == "1@0[a]1 2@2[\rb]1 ");
  CHECK(read(std::string("a\0b\n", 4), 1, 1) == std::string("1@0[a\0b]1 ", 10));
}

TEST_CASE("lines put together again are the text") {
  std::string text;
  std::uint64_t seed = 3;
  for (int i = 0; i < 3000; ++i) {
    seed = seed * 6364136223846793005U + 1442695040888963407U;
    text += "ab\r\n\n"[(seed >> 33U) % 5];
  }
  for (const std::size_t chunk : {1U, 2U, 3U, 17U, 1000U, 100'000U}) {
    TextSource source(text, chunk / 2 + 1);
    gcode::LineReader reader(source, 0, UINT64_MAX, 1, chunk);
    gcode::RawLine line;
    std::string again;
    while (*reader.next(line)) {
      REQUIRE(line.offset == again.size());
      again.append(line.text).append(line.ending);
      REQUIRE(line.end_offset() == again.size());
      REQUIRE((!line.ending.empty() || again.size() == text.size()));
    }
    CHECK(again == text);
    CHECK_FALSE(*reader.next(line));  // the end stays the end
  }
}

TEST_CASE("part of a text, with numbers that go on") {
  TextSource source("one\ntwo\nthree\n");
  gcode::LineReader reader(source, 4, 11, 2);
  gcode::RawLine line;
  REQUIRE(*reader.next(line));
  CHECK((line.text == "two" && line.offset == 4 && line.number == 2));
  REQUIRE(*reader.next(line));
  CHECK((line.text == "thr" && line.ending.empty() && line.number == 3));
  CHECK_FALSE(*reader.next(line));
  gcode::LineReader none(source, 8, 4);
  CHECK_FALSE(*none.next(line));
}

TEST_CASE("a line that is known is passed over") {
  TextSource source("one\ntwo\r\nthree");
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, 9);  // up to the second LF
  gcode::RawLine line;
  std::uint64_t number = 0;
  CHECK_FALSE(reader.pass_if("one\n", number));  // nothing is read yet
  REQUIRE(*reader.next(line));
  CHECK_FALSE(reader.pass_if("two\n", number));
  CHECK_FALSE(reader.pass_if("two\r\nthree\n", number));
  CHECK(reader.pass_if("two\r\n", number));
  CHECK(number == 2);
  CHECK_FALSE(reader.pass_if("three\n", number));
  REQUIRE(*reader.next(line));
  CHECK((line.text == "three" && line.number == 3 && line.offset == 9));
}

TEST_CASE("a watcher sees every byte once, in order") {
  struct Copy final : gcode::LineReader::Watcher {
    void bytes(std::string_view chunk) override { text += chunk; }
    std::string text;
  } copy;
  const std::string text = "a\r\nbb\n\nccc";
  TextSource source(text, 2);
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, 3);
  reader.watch(&copy);
  gcode::RawLine line;
  while (*reader.next(line)) CHECK(copy.text.size() >= line.end_offset());
  CHECK(copy.text == text);
}
