#include "report/columns.h"

#include <array>
#include <catch2/catch.hpp>
#include <climits>
#include <clocale>
#include <cwchar>
#include <string>

#include "report/format.h"
#include "report/table.h"

using namespace forewarm::report;

namespace {

const std::string kHeath = "\xe8\x8d\x92\xe5\x8e\x9f";  // "heath" in two Chinese characters

}  // namespace

TEST_CASE("characters take the room that a terminal gives them") {
  struct Case {
    std::string text;
    std::size_t columns;
  };
  for (const Case& c : {Case{"", 0}, Case{"reed", 4}, Case{"\xc3\xa4", 1},
                        Case{"a\xcc\x88", 1},                      // a mark stands on the a
                        Case{kHeath, 4}, Case{"\xed\x9e\xa3", 2},  // the last of Hangul
                        Case{"\xed\x9e\xb0", 0},      // a vowel that joins what is before it
                        Case{"\xef\xbd\xb1", 1},      // a katakana of half the width
                        Case{"\xf0\x9f\xa6\x86", 2},  // a duck
                        Case{"\xe2\x80\x8d", 0}, Case{"\xef\xbf\xbd", 1}, Case{"\x82\xff", 2},
                        Case{"\xd8\xb9\xd8\xb1", 2}}) {
    CAPTURE(c.text);
    CHECK(columns_of(c.text) == c.columns);
    CHECK(first_columns(c.text + "x", c.columns) == c.text);
    CHECK(last_columns(c.text, c.columns) == c.text);
  }
}

TEST_CASE("an end holds no half of a character, and no mark of one that is left out") {
  CHECK(last_columns("the north side", 4) == "side");
  CHECK(last_columns(kHeath, 3) == kHeath.substr(3));
  CHECK(last_columns(kHeath, 1).empty());
  CHECK(last_columns("a\xcc\x88yz", 2) == "yz");
  CHECK(last_columns("xa\xcc\x88y", 2) == "a\xcc\x88y");
  CHECK(last_columns("a\xcc\x88", 0).empty());
  CHECK(last_columns("", 3).empty());
}

TEST_CASE("a beginning holds no half of a character, but the marks on its last one") {
  CHECK(first_columns(kHeath, 0).empty());
  CHECK(first_columns(kHeath, 1).empty());
  CHECK(first_columns(kHeath, 3) == kHeath.substr(0, 3));
  CHECK(first_columns("a\xcc\x88\xcc\x84z", 1) == "a\xcc\x88\xcc\x84");
  CHECK(cut_to(kHeath + kHeath, 8) == kHeath + kHeath);
  CHECK(cut_to(kHeath + kHeath, 7) == kHeath + "...");
  CHECK(cut_to(kHeath + kHeath, 6) == kHeath.substr(0, 3) + "...");
}

TEST_CASE("columns of a table stand below each other behind wide characters, too") {
  Table table;
  table.columns = {{.head = "toolhead", .kind = Column::Kind::name, .width = 10},
                   {.head = "uses", .width = 5}};
  table.rows = {{.cells = {kHeath, Cell(Amount{7, Unit::count, 0})}},
                {.cells = {std::string("a\xcc\x88sh"), Cell(Amount{8, Unit::count, 0})}}};
  CHECK(text_of(table, 40) ==
        "toolhead    uses\n" + kHeath + "           7\na\xcc\x88sh            8\n");
}

TEST_CASE("lines are broken by the room that their words take") {
  CHECK(wrapped(kHeath + " " + kHeath, 0, 9) == kHeath + " " + kHeath + "\n");
  CHECK(wrapped(kHeath + " " + kHeath, 0, 8) == kHeath + "\n" + kHeath + "\n");
}

// An outside table: POSIX wcwidth. Another version of the C library may know a few more characters.
TEST_CASE("the room of each character is what the C library has") {
  const std::string before = std::setlocale(LC_CTYPE, nullptr);
  if (std::setlocale(LC_CTYPE, "C.UTF-8") == nullptr) {
    WARN("there is no C.UTF-8 to compare with");
    return;
  }
  std::size_t known = 0, others = 0;
  for (char32_t point = 0x20; point < 0x110000; ++point) {
    const int room = ::wcwidth(wchar_t(point));
    std::array<char, MB_LEN_MAX> bytes{};
    std::mbstate_t state{};
    const std::size_t length = std::wcrtomb(bytes.data(), wchar_t(point), &state);
    if (room < 0 || length == std::size_t(-1)) continue;
    ++known;
    others += columns_of({bytes.data(), length}) == std::size_t(room) ? 0 : 1;
  }
  std::setlocale(LC_CTYPE, before.c_str());
  CHECK(known > 100'000);
  CAPTURE(others);
  CHECK(others * 1000 <= known);
}
