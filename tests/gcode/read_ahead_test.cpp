// A text read ahead by a thread and one that is not: the same blocks, taken apart in the same way.
#include "gcode/read_ahead.h"

#include <catch2/catch.hpp>
#include <random>
#include <stdexcept>
#include <string>

using namespace forewarm;

namespace {

// Every block and line of the text, and how it ended.
std::string blocks(ByteSource& source, std::size_t chunk, bool thread,
                   gcode::ReadAhead::Watcher* watcher = nullptr, std::size_t most = SIZE_MAX) {
  std::string out;
  gcode::ReadAhead ahead(source, chunk, thread, watcher);
  for (std::size_t i = 0; i < most; ++i) {
    const gcode::ReadAhead::Read& read = ahead.next();
    if (read.error) return out + "error: " + read.error->message;
    if (read.stopped) return out + "stopped";
    if (!read.more) return out + "end";
    out += std::to_string(read.block.offset) + ": ";
    std::size_t at = 0;
    for (std::size_t k = 0; k < read.digest.count; ++k) {
      const gcode::LinearMove& line = read.digest.lines[k];
      out += (line.is() ? "move " : "line ");
      out += read.block.text().substr(at, line.length());
      out += '|';
      at += line.length() + line.ending();
    }
    CHECK(at == read.block.size);
    out += '\n';
  }
  return out;
}

std::string blocks(const std::string& text, std::size_t chunk, bool thread) {
  TextSource source(text);
  return blocks(source, chunk, thread);
}

struct Copy final : gcode::ReadAhead::Watcher {
  std::string seen;
  std::size_t most = SIZE_MAX;
  [[nodiscard]] bool bytes(std::string_view fresh) override {
    seen += fresh;
    return seen.size() < most;
  }
};

// Fails, in either way, from an offset on.
class Breaking final : public ByteSource {
 public:
  Breaking(std::string_view text, std::uint64_t from, bool throws)
      : text_(text), from_(from), throws_(throws) {}
  [[nodiscard]] std::uint64_t size() const override { return text_.size(); }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override {
    if (offset < from_) {
      return text_.read_at(offset, into.first(std::min<std::size_t>(into.size(), from_ - offset)));
    }
    if (throws_) throw std::runtime_error("no memory");
    return Error{Error::Kind::io, "the disk is gone"};
  }

 private:
  TextSource text_;
  std::uint64_t from_;
  bool throws_;
};

std::string some_text(unsigned seed) {
  std::mt19937 random(seed);
  std::string text;
  for (auto n = random() % 3000; n > 0; --n) {
    constexpr const char* kLines[] = {"G1 X1 Y2 E.5", "G0 X-3.25 F9000", "M104 S200", "",
                                      "; wall",       "G1 X1 ; wall",    "T1"};
    text += kLines[random() % std::size(kLines)];
    text += random() % 5 == 0 ? "\r\n" : "\n";
  }
  if (random() % 2 == 0) text += "G1 X9";
  return text;
}

}  // namespace

TEST_CASE("blocks and lines, one by one") {
  CHECK(blocks("", 4, false) == "end");
  CHECK(blocks("G1 X1\n;a\r\nT0", 4, false) == "0: move G1 X1|\n6: line ;a|\n10: line T0|\nend");
  CHECK(blocks("G1 X1\n;a\r\nT0", 100, false) == "0: move G1 X1|line ;a|line T0|\nend");
}

TEST_CASE("a thread gives the same blocks in the same order") {
  for (unsigned seed = 0; seed < 40; ++seed) {
    const std::string text = some_text(seed);
    for (const std::size_t chunk : {1U, 60U, 1000U, 100'000U}) {
      REQUIRE(blocks(text, chunk, true) == blocks(text, chunk, false));
    }
  }
}

TEST_CASE("the watcher sees every byte once, and can stop the reading") {
  const std::string text = some_text(3) + "T0\n";
  for (const bool thread : {false, true}) {
    CAPTURE(thread);
    TextSource source(text);
    Copy all;
    CHECK(blocks(source, 50, thread, &all).substr(0, 3) == "0: ");
    CHECK(all.seen == text);
    Copy half;
    half.most = text.size() / 2;
    const std::string got = blocks(source, 50, thread, &half);
    CHECK(got.substr(got.rfind('\n') + 1) == "stopped");
    CHECK(half.seen == text.substr(0, half.seen.size()));
    CHECK(half.seen.size() < text.size());
  }
}

TEST_CASE("what goes wrong comes in its turn") {
  const std::string text = some_text(5) + some_text(6);
  REQUIRE(text.size() > 6000);
  const std::string front = text.substr(0, 5000);
  for (const bool thread : {false, true}) {
    CAPTURE(thread);
    Breaking broken(text, 5000, false);
    const std::string got = blocks(broken, 100, thread);
    CHECK(got.substr(got.rfind('\n') + 1) == "error: the disk is gone");
    TextSource whole(front);
    CHECK(got.substr(0, 3000) == blocks(whole, 100, false).substr(0, 3000));
    Breaking throwing(text, 5000, true);
    CHECK_THROWS_WITH(blocks(throwing, 100, thread), "no memory");
  }
}

TEST_CASE("what is not wanted to its end is left alone") {
  const std::string text = some_text(8) + some_text(9);
  for (std::size_t most = 0; most < 12; ++most) {
    TextSource source(text);
    const std::string some = blocks(source, 64, true, nullptr, most);
    CHECK(some == blocks(source, 64, false, nullptr, most));
  }
}
