#include "rewrite/marks.h"

#include <catch2/catch.hpp>
#include <string>

using namespace forewarm::rewrite;

TEST_CASE("a header is read back as it was written") {
  const Header header =
      GENERATE(Header{0, 0, 0}, Header{1, 2, 3}, Header{UINT64_MAX, UINT64_MAX, UINT64_MAX},
               Header{0xc4c7290280db9d42, 193, 0x0000000000008a47});
  const std::string line = header_line(header);
  CAPTURE(line);
  const auto back = read_header(line);
  REQUIRE(back);
  CHECK(back->rules == header.rules);
  CHECK(back->bytes == header.bytes);
  CHECK(back->original == header.original);
}

TEST_CASE("headers that are accepted") {
  CHECK(header_line({1, 2, 3}) == ";forewarm 1 rules=0000000000000001 original=2:0000000000000003");
  for (const char* line : {
           ";forewarm 1 rules=0000000000000000 original=0:0000000000000000",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm 1 rules=ffffffffffffffff original=18446744073709551615:ffffffffffffffff",
       }) {
    CAPTURE(line);
    CHECK(read_header(line));
  }
}

TEST_CASE("headers that are refused") {
  for (const char* line : {
           "",
           ";",
           ";forewarm",
           ";forewarm ",
           ";forewarm 1",
           "; forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210",
           ";Forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210",
           " ;forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm  1 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm 0 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm 2 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm 11 rules=0123456789abcdef original=193:fedcba9876543210",
           ";forewarm 1 rules= original=193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcde original=193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef0 original=193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdeg original=193:fedcba9876543210",
           ";forewarm 1 rules=0123456789ABCDEF original=193:fedcba9876543210",
           ";forewarm 1 rules=0x23456789abcdef original=193:fedcba9876543210",
           ";forewarm 1 rules=-123456789abcdef original=193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef",
           ";forewarm 1 rules=0123456789abcdef original=",
           ";forewarm 1 rules=0123456789abcdef original=:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef original=193",
           ";forewarm 1 rules=0123456789abcdef original=193:",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba987654321",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba98765432100",
           ";forewarm 1 rules=0123456789abcdef original=0193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef original=+193:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef original=-1:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef original=18446744073709551616:fedcba9876543210",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210 ",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210\r",
           ";forewarm 1 rules=0123456789abcdef original=193:fedcba9876543210\n",
           ";forewarm 1 original=193:fedcba9876543210 rules=0123456789abcdef",
           ";forewarm 1 rules=0123456789abcdef  original=193:fedcba9876543210",
       }) {
    CAPTURE(line);
    CHECK_FALSE(read_header(line));
  }
}

TEST_CASE("lines that are inserted ones") {
  for (const char* line : {
           "M104 T0 S200 ;fw+ preheat",
           "N5 M104 T0 S200*7 ;fw+ preheat",
           " ;fw+ nothing before it",
           "M104 T0 S200 ;fw+ ",
           "G1 X1 ; note ;fw+ after a comment",
       }) {
    CAPTURE(line);
    CHECK(is_inserted(line));
    CHECK_FALSE(is_disabled(line));
  }
}

TEST_CASE("lines that are disabled ones") {
  for (const char* line :
       {";fw- ", ";fw- M104 T0 S0", ";fw- ;fw- M104", ";fw-  M104 T0 S0 ; off"}) {
    CAPTURE(line);
    CHECK(is_disabled(line));
    CHECK_FALSE(is_inserted(line));
  }
}

TEST_CASE("lines that are neither") {
  for (const char* line : {
           "",
           "M104 T0 S200",
           "M104 T0 S200;fw+ no space before",
           "M104 T0 S200 ;fw+no space after",
           "M104 T0 S200 ;fw+",
           "M104 T0 S200 ; fw+ apart",
           "M104 T0 S200 ;FW+ upper case",
           "M104 T0 S200 ;fw- not at the start",
           " ;fw- M104 T0 S0",
           ";fw-M104 T0 S0",
           ";fw-",
           "; fw- M104",
           ";forewarm 1 rules=0000000000000000 original=0:0000000000000000",
       }) {
    CAPTURE(line);
    CHECK_FALSE(is_inserted(line));
    CHECK_FALSE(is_disabled(line));
  }
}

TEST_CASE("where a mark may stand next") {
  struct Row {
    const char* text;
    std::size_t from;
    std::size_t at;
  };
  constexpr std::size_t kNone = std::string_view::npos;
  for (const Row& row : {
           Row{"", 0, kNone},
           {"G1 X1\n; a note\n;f\n;f w\nfw\n", 0, kNone},
           {";fw", 0, 0},
           {";fw", 1, kNone},
           {";fw", 9, kNone},
           {";;fw- T0\n", 0, 1},
           {"G1 ;f;fw+ a\n;fw- b\n", 0, 5},
           {"G1 ;f;fw+ a\n;fw- b\n", 6, 12},
           {"G1 X1 ;f", 0, kNone},
       }) {
    CAPTURE(row.text, row.from);
    CHECK(find_mark(row.text, row.from) == row.at);
  }
}
