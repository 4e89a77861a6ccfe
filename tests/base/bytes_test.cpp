// What base/bytes.h promises: sources give the same bytes however they are read, and a copy writes
// all or says why not.
#include "base/bytes.h"
#include "help/full_sink.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <string>

using namespace forewarm;

namespace {

struct Unreadable final : ByteSource {
  [[nodiscard]] std::uint64_t size() const override { return 9; }
  Result<std::size_t> read_at(std::uint64_t, std::span<char>) override {
    return Error{Error::Kind::io, "unreadable"};
  }
};

std::string alphabet(std::size_t n) {
  std::string s(n, ' ');
  for (std::size_t i = 0; i < n; ++i) s[i] = char('a' + i % 26);
  return s;
}

}  // namespace

TEST_CASE("a source can be read anywhere, in any order, in any pieces") {
  const std::string text = alphabet(50);
  for (const std::size_t most : {1U, 3U, 50U, 1000U}) {
    TextSource source(text, most);
    CHECK(source.size() == 50);
    for (std::uint64_t offset : {49U, 0U, 25U, 0U}) {
      std::string into(10, '-');
      const auto got = source.read_at(offset, into);
      REQUIRE(got);
      CHECK(*got == std::min<std::size_t>({10, most, 50 - offset}));
      CHECK(into.substr(0, *got) == text.substr(offset, *got));
    }
    std::string into(10, '-');
    CHECK(*source.read_at(50, into) == 0);
    CHECK(*source.read_at(UINT64_MAX, into) == 0);
    CHECK(into == "----------");
  }
}

TEST_CASE("a copy is the bytes asked for, wherever reads end") {
  const std::string text = alphabet(300);
  for (const std::size_t most : {1U, 7U, 299U, 300U, 301U}) {
    TextSource source(text, most);
    TextSink sink;
    REQUIRE(sink.write("<"));
    REQUIRE(sink.copy(source, 0, 300));
    REQUIRE(sink.copy(source, 10, 0));
    REQUIRE(sink.copy(source, 290, 10));
    REQUIRE(sink.write(">"));
    CHECK(sink.text() == "<" + text + text.substr(290) + ">");
  }
}

TEST_CASE("a copy larger than its buffer is whole") {
  const std::string text = alphabet((2U << 20U) + 5);
  TextSource source(text);
  TextSink sink;
  REQUIRE(sink.copy(source, 1, text.size() - 1));
  CHECK(sink.text() == text.substr(1));
}

TEST_CASE("a copy stops at the byte where the sink fails, and says so") {
  const std::string text = alphabet(40);
  for (std::size_t n = 0; n <= 41; ++n) {
    TextSource source(text, 7);
    test::FullSink sink(n);
    const Status status = sink.copy(source, 0, text.size());
    INFO("fails at byte " << n);
    CHECK(status.ok() == (n >= 40));
    CHECK(sink.text == text.substr(0, n));
    if (!status) CHECK(status.error().message == "full");
  }
}

TEST_CASE("a copy of what is not there fails") {
  const std::string text = alphabet(40);
  TextSource source(text);
  TextSink sink;
  const Status beyond = sink.copy(source, 30, 11);
  REQUIRE_FALSE(beyond);
  CHECK(beyond.error().kind == Error::Kind::io);
  CHECK(beyond.error().message == "the file became shorter while it was read");
  Unreadable unreadable;
  const Status failed = sink.copy(unreadable, 0, 9);
  REQUIRE_FALSE(failed);
  CHECK(failed.error().message == "unreadable");
}
