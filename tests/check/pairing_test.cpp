// Two texts, line beside line, as short scripts: what was kept, put in, disabled, lost, added or
// changed, whatever sizes the texts are read in.
#include "check/pairing.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <catch2/catch.hpp>
#include <optional>

using namespace forewarm;
using check::Pairing;
using Kind = check::Step::Kind;

namespace {

std::uint64_t hash_of(const std::string& text) { return XXH3_64bits(text.data(), text.size()); }

std::string numbers(const check::Step& step) {
  return std::to_string(step.rewritten.number) + "/" + std::to_string(step.original.number);
}

// "kept 2/1 G1 X1": the line's number in the rewritten text, that in the original, the text.
std::string shown(const check::Step& step) {
  switch (step.kind) {
    case Kind::header:
      return "header " + std::to_string(step.rewritten.number);
    case Kind::inserted:
      return "inserted " + std::to_string(step.rewritten.number) + " " +
             std::string(step.rewritten.text);
    case Kind::disabled:
      return "disabled " + numbers(step) + " " + std::string(step.original.text);
    case Kind::kept:
      return "kept " + numbers(step) + " " + std::string(step.original.text);
    case Kind::changed:
      return "changed " + numbers(step) + " " + std::string(step.original.text) + " | " +
             std::string(step.rewritten.text);
    case Kind::lost:
      return "lost " + std::to_string(step.original.number) + " " + std::string(step.original.text);
    case Kind::added:
      return "added " + std::to_string(step.rewritten.number) + " " +
             std::string(step.rewritten.text);
  }
  return "?";
}

struct Paired {
  std::string steps;
  std::uint64_t restored_bytes = 0, restored_hash = 0;
  std::optional<std::uint64_t> original_bytes, original_hash;
};

Paired paired_by(const std::string* original, const std::string& rewritten, std::size_t chunk,
                 std::size_t most, bool thread = false) {
  std::optional<TextSource> first;
  if (original != nullptr) first.emplace(*original, most);
  TextSource second(rewritten, most);
  Pairing pairing(original != nullptr ? &*first : nullptr, second, chunk, thread);
  Paired out;
  check::Step step;
  for (;;) {
    auto more = pairing.next(step);
    if (!more) FAIL(render(more.error()));
    if (!*more) break;
    if (step.straight != nullptr) {
      CHECK(step.kind == Kind::kept);
      CHECK(step.straight->length() == step.original.text.size());
    }
    if (step.kind == Kind::kept || step.kind == Kind::disabled) {
      // Both sides of a line that is the same are at hand.
      CHECK(step.rewritten.text == step.original.text);
    }
    out.steps += shown(step) + "\n";
  }
  // The end stays the end.
  auto more = pairing.next(step);
  REQUIRE(more.ok());
  CHECK_FALSE(*more);
  out.restored_bytes = pairing.restored_bytes();
  out.restored_hash = pairing.restored_hash();
  if (original != nullptr) {
    out.original_bytes = pairing.original_bytes();
    out.original_hash = pairing.original_hash();
  }
  return out;
}

// The same for all ways of reading.
Paired paired(const std::string* original, const std::string& rewritten) {
  const Paired whole = paired_by(original, rewritten, 1U << 20U, SIZE_MAX);
  for (const std::size_t size : {1, 2, 3, 7, 64}) {
    CAPTURE(size);
    for (const Paired& p : {paired_by(original, rewritten, size, SIZE_MAX),
                            paired_by(original, rewritten, 1U << 20U, size),
                            paired_by(original, rewritten, size, SIZE_MAX, true)}) {
      CHECK(p.steps == whole.steps);
      CHECK(p.restored_bytes == whole.restored_bytes);
      CHECK(p.restored_hash == whole.restored_hash);
      CHECK(p.original_hash == whole.original_hash);
    }
  }
  if (original != nullptr) {
    CHECK(whole.original_bytes == original->size());
    CHECK(whole.original_hash == hash_of(*original));
  }
  return whole;
}

std::string beside(const std::string& original, const std::string& rewritten) {
  return paired(&original, rewritten).steps;
}
std::string alone(const std::string& rewritten) { return paired(nullptr, rewritten).steps; }

// Of a rewrite as it should be: the same steps with the original and without it, and undoing the
// marks gives the original.
std::string good(const std::string& original, const std::string& rewritten) {
  const Paired with = paired(&original, rewritten);
  const Paired without = paired(nullptr, rewritten);
  CHECK(with.steps == without.steps);
  for (const Paired& p : {with, without}) {
    CHECK(p.restored_bytes == original.size());
    CHECK(p.restored_hash == hash_of(original));
  }
  return with.steps;
}

// Whether undoing the marks gives `original`.
bool restores(const std::string& original, const std::string& rewritten) {
  const Paired p = paired(nullptr, rewritten);
  return p.restored_bytes == original.size() && p.restored_hash == hash_of(original);
}

std::string numbered_lines(int from, int to) {
  std::string out;
  for (int i = from; i <= to; ++i) out += "G1 X" + std::to_string(i) + "\n";
  return out;
}

const std::string kHeader = ";forewarm 1 rules=0 original=0\n";

}  // namespace

// ------------------------------------------------------------------------------- as it should be

TEST_CASE("lines kept, put in and disabled") {
  CHECK(good("T0\nG1 X1\nM104 S170\nG1 X2\n",
             kHeader + "T0\nM104 T1 S200 ;fw+ preheat\nG1 X1\n;fw- M104 S170\nG1 X2\n" +
                 "M104 T0 S0 ;fw+ off\n") ==
        "header 1\n"
        "kept 2/1 T0\n"
        "inserted 3 M104 T1 S200 ;fw+ preheat\n"
        "kept 4/2 G1 X1\n"
        "disabled 5/3 M104 S170\n"
        "kept 6/4 G1 X2\n"
        "inserted 7 M104 T0 S0 ;fw+ off\n");
}

TEST_CASE("a text without marks is kept from end to end") {
  CHECK(good("T0\nG1 X1\n", "T0\nG1 X1\n") == "kept 1/1 T0\nkept 2/2 G1 X1\n");
}

TEST_CASE("nothing at all") { CHECK(good("", "").empty()); }

TEST_CASE("a first line and no more") {
  CHECK(good("", kHeader) == "header 1\n");
  CHECK(good("", ";forewarm 1 rules=0 original=0") == "header 1\n");
  CHECK(beside("T0\nT1\n", kHeader) == "header 1\nlost 1 T0\nlost 2 T1\n");
}

TEST_CASE("empty lines and lines that repeat") {
  CHECK(good("\n\nG1 E1\nG1 E1\n\n", kHeader + "\n\nG1 E1\nM104 T1 S0 ;fw+ off\nG1 E1\n\n") ==
        "header 1\nkept 2/1 \nkept 3/2 \nkept 4/3 G1 E1\ninserted 5 M104 T1 S0 ;fw+ off\n"
        "kept 6/4 G1 E1\nkept 7/5 \n");
}

TEST_CASE("CR before LF is of the ending, elsewhere of the line") {
  CHECK(good("T0\r\nM104\rS1\r\n", ";forewarm 1\r\nT0\r\nT1 ;fw+ x\r\n;fw- M104\rS1\r\n") ==
        "header 1\nkept 2/1 T0\ninserted 3 T1 ;fw+ x\ndisabled 4/2 M104\rS1\n");
  // The ending alone is no difference between lines, but one between texts.
  CHECK(beside("T0\r\nT1\r\n", "T0\nT1\r\n") == "kept 1/1 T0\nkept 2/2 T1\n");
  CHECK_FALSE(restores("T0\r\nT1\r\n", "T0\nT1\r\n"));
}

TEST_CASE("no line feed at the end") {
  CHECK(good("T0\nT1", kHeader + "T0\nT1") == "header 1\nkept 2/1 T0\nkept 3/2 T1\n");
  CHECK(good("T0\nM104 S1", kHeader + "T0\n;fw- M104 S1") ==
        "header 1\nkept 2/1 T0\ndisabled 3/2 M104 S1\n");
}

TEST_CASE("no line feed at the end, behind which something was put in") {
  // The line feed before what was put in is not the original's.
  CHECK(good("T0\nT1", kHeader + "T0\nT1\nM104 T0 S0 ;fw+ off\nM104 T1 S0 ;fw+ off") ==
        "header 1\nkept 2/1 T0\nkept 3/2 T1\n"
        "inserted 4 M104 T0 S0 ;fw+ off\ninserted 5 M104 T1 S0 ;fw+ off\n");
  CHECK(good("T0\r\nT1", ";forewarm 1\r\nT0\r\nT1\r\nM104 T0 S0 ;fw+ off") ==
        "header 1\nkept 2/1 T0\nkept 3/2 T1\ninserted 4 M104 T0 S0 ;fw+ off\n");
  CHECK(good("T0\nM104 S1", kHeader + "T0\n;fw- M104 S1\nM104 T0 S0 ;fw+ off") ==
        "header 1\nkept 2/1 T0\ndisabled 3/2 M104 S1\ninserted 4 M104 T0 S0 ;fw+ off\n");
  // Lines put in earlier have nothing to do with it.
  CHECK(good("T0\nT1", kHeader + "T0\nM104 T0 S0 ;fw+ off\nT1") ==
        "header 1\nkept 2/1 T0\ninserted 3 M104 T0 S0 ;fw+ off\nkept 4/2 T1\n");
}

TEST_CASE("what looks a little like a mark is none") {
  const std::string job = "G1 X1 ;fw+x\n ;fw- G1\n;fw-\n;forewarm\n;forewarm 1\n";
  CHECK(good(job, job) ==
        "kept 1/1 G1 X1 ;fw+x\nkept 2/2  ;fw- G1\nkept 3/3 ;fw-\nkept 4/4 ;forewarm\n"
        "kept 5/5 ;forewarm 1\n");
}

// ------------------------------------------------------------------------- where the texts differ

TEST_CASE("a line lost") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\nG1 X4\n", "G1 X1\nG1 X3\nG1 X4\n") ==
        "kept 1/1 G1 X1\nlost 2 G1 X2\nkept 2/3 G1 X3\nkept 3/4 G1 X4\n");
}

TEST_CASE("a line added") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\n", "G1 X1\nG1 X9\nG1 X2\nG1 X3\n") ==
        "kept 1/1 G1 X1\nadded 2 G1 X9\nkept 3/2 G1 X2\nkept 4/3 G1 X3\n");
}

TEST_CASE("a line changed") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\n", "G1 X1\nG1 X9\nG1 X3\n") ==
        "kept 1/1 G1 X1\nchanged 2/2 G1 X2 | G1 X9\nkept 3/3 G1 X3\n");
  CHECK(beside("G1 X1\n", "G1 X9\n") == "changed 1/1 G1 X1 | G1 X9\n");
}

TEST_CASE("two lines changed, one after the other and apart") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\n", "G1 X8\nG1 X9\nG1 X3\n") ==
        "changed 1/1 G1 X1 | G1 X8\nchanged 2/2 G1 X2 | G1 X9\nkept 3/3 G1 X3\n");
  CHECK(beside(numbered_lines(1, 6), "G1 X1\nG1 X0\nG1 X3\nG1 X4\nG1 X0\nG1 X6\n") ==
        "kept 1/1 G1 X1\nchanged 2/2 G1 X2 | G1 X0\nkept 3/3 G1 X3\nkept 4/4 G1 X4\n"
        "changed 5/5 G1 X5 | G1 X0\nkept 6/6 G1 X6\n");
}

TEST_CASE("two lines that changed places") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\nG1 X4\nG1 X5\n", "G1 X1\nG1 X3\nG1 X2\nG1 X4\nG1 X5\n") ==
        "kept 1/1 G1 X1\nchanged 2/2 G1 X2 | G1 X3\nchanged 3/3 G1 X3 | G1 X2\n"
        "kept 4/4 G1 X4\nkept 5/5 G1 X5\n");
}

TEST_CASE("one of several lines that are the same") {
  CHECK(beside("G1 E1\nG1 E1\nG1 E1\nT1\n", "G1 E1\nG1 E1\nT1\n") ==
        "kept 1/1 G1 E1\nkept 2/2 G1 E1\nlost 3 G1 E1\nkept 3/4 T1\n");
  CHECK(beside("G1 E1\nG1 E1\nT1\n", "G1 E1\nG1 E1\nG1 E1\nT1\n") ==
        "kept 1/1 G1 E1\nkept 2/2 G1 E1\nadded 3 G1 E1\nkept 4/3 T1\n");
}

TEST_CASE("lost at the end, added at the end") {
  CHECK(beside("G1 X1\nG1 X2\nG1 X3\n", "G1 X1\n") ==
        "kept 1/1 G1 X1\nlost 2 G1 X2\nlost 3 G1 X3\n");
  CHECK(beside("G1 X1\n", "G1 X1\nG1 X2\nG1 X3\n") ==
        "kept 1/1 G1 X1\nadded 2 G1 X2\nadded 3 G1 X3\n");
  // More than is looked ahead.
  const auto count = [](const std::string& steps, const std::string& kind) {
    int n = 0;
    for (std::size_t at = 0; (at = steps.find(kind, at)) != std::string::npos; ++at) ++n;
    return n;
  };
  const std::string few = numbered_lines(1, 2);
  const std::string many = numbered_lines(1, 202);
  CHECK(count(beside(many, few), "lost ") == 200);
  CHECK(count(beside(few, many), "added ") == 200);
}

TEST_CASE("nothing on one side") {
  CHECK(beside("", "G1 X1\nG1 X2\n") == "added 1 G1 X1\nadded 2 G1 X2\n");
  CHECK(beside("G1 X1\nG1 X2\n", "") == "lost 1 G1 X1\nlost 2 G1 X2\n");
}

TEST_CASE("many lines lost, within what is looked ahead") {
  const std::string all = numbered_lines(1, 100);
  const std::string rest = numbered_lines(1, 10) + numbered_lines(61, 100);
  const std::string steps = beside(all, rest);
  CHECK(steps.starts_with("kept 1/1 G1 X1\n"));
  CHECK(steps.find("kept 10/10 G1 X10\nlost 11 G1 X11\n") != std::string::npos);
  CHECK(steps.find("lost 60 G1 X60\nkept 11/61 G1 X61\n") != std::string::npos);
  CHECK(steps.ends_with("kept 50/100 G1 X100\n"));
}

TEST_CASE("lines put in and disabled near a difference stay what they are") {
  CHECK(beside(
            "T0\nG1 X1\nM104 S170\nG1 X2\nG1 X3\n",
            kHeader + "T0\nM104 T1 S1 ;fw+ a\n;fw- M104 S170\nM104 T1 S2 ;fw+ b\nG1 X2\nG1 X3\n") ==
        "header 1\nkept 2/1 T0\ninserted 3 M104 T1 S1 ;fw+ a\nlost 2 G1 X1\n"
        "disabled 4/3 M104 S170\ninserted 5 M104 T1 S2 ;fw+ b\nkept 6/4 G1 X2\nkept 7/5 G1 X3\n");
}

TEST_CASE("a mark that was damaged") {
  // A line put in whose mark is broken: a line of its own.
  CHECK(beside("T0\nG1 X1\nG1 X2\n", kHeader + "T0\nM104 S1 ;fw~ a\nG1 X1\nG1 X2\n") ==
        "header 1\nkept 2/1 T0\nadded 3 M104 S1 ;fw~ a\nkept 4/2 G1 X1\nkept 5/3 G1 X2\n");
  // A disabled line whose mark is broken: another line.
  CHECK(beside("T0\nM104 S1\nG1 X1\nG1 X2\n", kHeader + "T0\n;fw~ M104 S1\nG1 X1\nG1 X2\n") ==
        "header 1\nkept 2/1 T0\nchanged 3/2 M104 S1 | ;fw~ M104 S1\nkept 4/3 G1 X1\n"
        "kept 5/4 G1 X2\n");
  // The first line: a line like others, though the rest bears marks.
  CHECK(beside("T0\nT1\n", "; forewarm 1\nT0\nM104 S1 ;fw+ a\nT1\n") ==
        "added 1 ; forewarm 1\nkept 2/1 T0\ninserted 3 M104 S1 ;fw+ a\nkept 4/2 T1\n");
  CHECK(alone("; forewarm 1\nT0\nM104 S1 ;fw+ a\nT1\n") ==
        "kept 1/1 ; forewarm 1\nkept 2/2 T0\ninserted 3 M104 S1 ;fw+ a\nkept 4/3 T1\n");
}

TEST_CASE("a disabled line that the original has otherwise, or not at all, does nothing") {
  CHECK(beside("T0\nM104 S1\nG1 X1\n", kHeader + "T0\n;fw- M104 S2\nG1 X1\n") ==
        "header 1\nkept 2/1 T0\nchanged 3/2 M104 S1 | \nkept 4/3 G1 X1\n");
  CHECK(beside("T0\nG1 X1\nG1 X2\n", kHeader + "T0\n;fw- M104 S2\nG1 X1\nG1 X2\n") ==
        "header 1\nkept 2/1 T0\nadded 3 \nkept 4/2 G1 X1\nkept 5/3 G1 X2\n");
}

TEST_CASE("without the original, the marks are believed") {
  const std::string rewritten = kHeader + "T0\nG1 X9\n;fw- M104 S2\nM104 S3 ;fw+ a\n";
  CHECK(alone(rewritten) ==
        "header 1\nkept 2/1 T0\nkept 3/2 G1 X9\ndisabled 4/3 M104 S2\n"
        "inserted 5 M104 S3 ;fw+ a\n");
  CHECK(restores("T0\nG1 X9\nM104 S2\n", rewritten));
}

TEST_CASE("what cannot be read is an error") {
  class Broken final : public ByteSource {
   public:
    [[nodiscard]] std::uint64_t size() const override { return 10; }
    [[nodiscard]] Result<std::size_t> read_at(std::uint64_t, std::span<char>) override {
      return Error{Error::Kind::io, "the disk is gone"};
    }
  } broken;
  TextSource text("T0\n");
  for (const auto& [original_broken, thread] :
       {std::pair{true, false}, {false, false}, {true, true}, {false, true}}) {
    Pairing pairing(original_broken ? static_cast<ByteSource*>(&broken) : &text,
                    original_broken ? static_cast<ByteSource&>(text) : broken, 64, thread);
    check::Step step;
    auto more = pairing.next(step);
    REQUIRE_FALSE(more.ok());
    CHECK(more.error().message == "the disk is gone");
  }
}
