// Tables as values: what text and page make of one and the same.
#include "report/table.h"

#include <array>
#include <catch2/catch.hpp>
#include <limits>

#include "report/diff_table.h"
#include "report/figures.h"

using namespace forewarm::report;

namespace {

using Kind = Column::Kind;
using Shown = Column::Shown;
using Mark = Row::Mark;

Table posts() {
  Table out;
  out.columns = {{.head = "post", .kind = Kind::name, .width = 8, .cut = true},
                 {.head = "tool", .kind = Kind::text, .width = 5, .right = true},
                 {.head = "height", .width = 8},
                 {.head = "wood", .kind = Kind::text, .width = 6},
                 {.head = "at", .width = 8, .bare = true},
                 {.head = "only here", .kind = Kind::text, .width = 10, .shown = Shown::in_text},
                 {.head = "remark", .kind = Kind::text, .shown = Shown::on_page}};
  out.rows = {{.cells = {std::string("gate"), std::string("T0"), Amount{2.25, Unit::grams, 1},
                         std::string("ash"), Amount{75.26, Unit::seconds, 1}, std::string("x"),
                         std::string("first")},
               .mark = Mark::in_force,
               .below = "by the road"},
              {.cells = {std::string("together"), {}, Amount{3}}, .mark = Mark::limit}};
  out.note = "* that's all";
  return out;
}

}  // namespace

TEST_CASE("a table as text") {
  CHECK(text_of(posts()) ==
        "post      tool   height  wood         at  only here\n"
        "gate        T0    2.2 g  ash    1 min 15 s  x\n"
        "    by the road\n"
        "together              3\n"
        "* that's all\n");
}

TEST_CASE("the same table on a page") {
  CHECK(html_of(posts()) ==
        "<div class=\"scroll\" tabindex=\"0\"><table>\n<thead><tr><th scope=\"col\">Post</th>"
        "<th scope=\"col\">Tool</th><th scope=\"col\" class=\"n\">Height</th>"
        "<th scope=\"col\">Wood</th><th scope=\"col\" class=\"n\">At</th>"
        "<th scope=\"col\">Remark</th></tr></thead>\n<tbody>\n"
        "<tr class=\"force\"><th scope=\"row\">gate</th><td class=\"t\">T0</td><td>2.2 g</td>"
        "<td class=\"t\">ash</td><td>75.3</td><td class=\"t\">first</td></tr>\n"
        "<tr class=\"bound\"><th scope=\"row\">together</th><td class=\"t\"></td><td>3</td>"
        "<td class=\"t\"></td><td></td><td class=\"t\"></td></tr>\n"
        "</tbody>\n</table></div>\n<p class=\"note\">* that&#39;s all</p>\n");
}

TEST_CASE("a table without rows has its heads") {
  Table table = posts();
  table.rows.clear();
  table.note.clear();
  CHECK(text_of(table) == "post      tool   height  wood         at  only here\n");
  CHECK(html_of(table).find("<tbody>\n</tbody>") != std::string::npos);
}

TEST_CASE("what jobs call things can break neither text nor page") {
  Table table = posts();
  table.rows = {{.cells = {std::string("<b>\x1b[2J\n&\"")}, .below = "a\tb\x07\xff"}};
  table.columns[0].head = "a<b";
  const std::string text = text_of(table), page = html_of(table);
  CHECK(text.find("<b>?[2J?&\"\n") == std::string::npos);  // too long for its column
  CHECK(text.find("\n<b>?[...\n    a b?\xef\xbf\xbd\n") != std::string::npos);
  CHECK(page.find("<th scope=\"col\">A&lt;b</th>") != std::string::npos);
  CHECK(page.find("<th scope=\"row\">&lt;b&gt;?[2J?&amp;&quot;</th>") != std::string::npos);
}

TEST_CASE("a name is cut between characters") {
  Table table;
  table.columns = {{.head = "", .kind = Kind::name, .width = 6, .cut = true}};
  // Six characters of two bytes each fit; of seven, three do.
  const std::string umlaut = "\xc3\xa4";
  std::string six;
  for (int i = 0; i < 6; ++i) six += umlaut;
  table.rows = {{.cells = {six}}, {.cells = {six + umlaut}}};
  CHECK(text_of(table) == "\n" + six + "\n" + umlaut + umlaut + umlaut + "...\n");
}

namespace {
// At ease 59 characters wide.
Table paths() {
  const auto metres = [](double m) { return Cell(Amount{m, Unit::count, 0}); };
  Table out;
  out.columns = {{.head = "path", .kind = Kind::name, .width = 22},
                 {.head = "of steps", .width = 14},
                 {.head = "length in all", .width = 13},
                 {.head = "ground", .kind = Kind::text, .width = 6}};
  out.rows = {{.cells = {std::string("heron marsh boardwalk"), metres(12), metres(1'234'567),
                         std::string("wood")}},
              {.cells = {std::string("of the northern end, where the reeds are:")}},
              {.cells = {std::string("reeds"), metres(3), metres(88), std::string("peat")},
               .below = "closed in spring, for the herons nest there"}};
  out.note = "* as walked last";
  return out;
}
}  // namespace

TEST_CASE("a table is made narrower, down to its figures") {
  CHECK(text_of(paths(), 59) == R"(path                         of steps length in all  ground
heron marsh boardwalk              12       1234567  wood
of the northern end, where the reeds are:
reeds                               3            88  peat
    closed in spring, for the herons nest there
* as walked last
)");
  // Columns come closer together ...
  CHECK(text_of(paths(), 50) == R"(                                 length in
path                   of steps        all  ground
heron marsh boardwalk        12    1234567  wood
of the northern end, where the reeds are:
reeds                         3         88  peat
    closed in spring, for the herons nest there
* as walked last
)");
  // ... then a name is cut, but no figure, and what heads several rows has the whole line.
  CHECK(text_of(paths(), 40) == R"(                      of  length
path               steps  in all  ground
heron marsh boa...    12 1234567  wood
of the northern end, where the reeds ...
reeds                  3      88  peat
    closed in spring, for the herons
    nest there
* as walked last
)");
  const std::string least = text_of(paths(), 10);
  CHECK(least.find("heron...    12 1234567  wood\n") != std::string::npos);
  CHECK(text_of(paths(), 1).find("1234567") != std::string::npos);
}

TEST_CASE("the width of a table is in characters") {
  Table table;
  table.columns = {{.head = "heath", .kind = Kind::name}, {.head = "steps", .width = 9}};
  const std::string umlauts = "\xc3\xa4\xc3\xb6\xc3\xbc\xc3\xa4\xc3\xb6\xc3\xbc";
  table.rows = {{.cells = {umlauts, Cell(Amount{7, Unit::count, 0})}}};
  CHECK(text_of(table, 12) == "heath  steps\n" + umlauts + "     7\n");
}

TEST_CASE("texts are as wide as they are told, and no wider than reads well") {
  const std::string words = "the path leads over the marsh and on to the reeds of the northern end";
  CHECK(wrapped(words, 2, 30) ==
        "  the path leads over the\n  marsh and on to the reeds of\n  the northern end\n");
  CHECK(wrapped(words, 0, 200) == words + "\n");
  CHECK(wrapped(words + " " + words, 0, 200).find('\n') == 89);
  CHECK(wrapped("\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4 b", 0, 6) ==
        "\xc3\xa4\xc3\xa4\xc3\xa4\xc3\xa4 b\n");
}

TEST_CASE("amounts with their units, and without") {
  struct Case {
    Amount amount;
    std::string text, alone, with_sign;
  };
  const double nan = std::numeric_limits<double>::quiet_NaN();
  for (const Case& c :
       {Case{{72.55, Unit::seconds, 0}, "1 min 13 s", "73", "+1 min 13 s"},
        Case{{0.04, Unit::seconds, 1}, "0.0 s", "0.0", "0 s"},
        Case{{-90, Unit::seconds, 0}, "0 s", "-90", "-1 min 30 s"},
        Case{{3661, Unit::clock, 0}, "1:01:01", "1:01:01", "+1:01:01"},
        Case{{41.94, Unit::watt_hours, 1}, "41.9 Wh", "41.9", "+41.9 Wh"},
        Case{{-0.04, Unit::watt_hours, 1}, "0.0 Wh", "0.0", "0.0 Wh"},
        Case{{-3.2, Unit::watt_hours, 1}, "-3.2 Wh", "-3.2", "-3.2 Wh"},
        Case{{100, Unit::watts, 0}, "100 W", "100", "+100 W"},
        Case{{9, Unit::count, 1}, "9", "9", "+9"}, Case{{-2, Unit::count, 0}, "-2", "-2", "-2"},
        Case{{0, Unit::count, 0}, "0", "0", "0"},
        Case{{240, Unit::mm3, 1}, "240.0 mm3", "240.0", "+240.0 mm3"},
        Case{{170.4, Unit::celsius, 0}, "170 C", "170", "+170 C"},
        Case{{nan, Unit::grams, 1}, "- g", "-", "- g"}}) {
    CAPTURE(c.amount.value, c.text);
    CHECK(text_of(c.amount) == c.text);
    CHECK(text_of_number(c.amount) == c.alone);
    CHECK(signed_text_of(c.amount) == c.with_sign);
  }
}

TEST_CASE("a figure finds its value in a struct, and writes it there") {
  forewarm::plan::Figures figures;
  for (std::size_t i = 0; i < kPlanFigures.size(); ++i) kPlanFigures[i].set(figures, double(i + 1));
  CHECK(figures.duration_s == 1);
  CHECK(figures.hot_idle_s == 3);
  CHECK(figures.cold_starts == 5);
  CHECK(figures.peak_heating_w == 6);
  for (std::size_t i = 0; i < kPlanFigures.size(); ++i) {
    CHECK(kPlanFigures[i].value(figures) == double(i + 1));
    CHECK(kPlanFigures[i].known(figures));
    CHECK(kPlanFigures[i].counts() == ((*kPlanFigures[i]).unit == Unit::count));
  }
  forewarm::plan::GapPlan gap;
  CHECK_FALSE(kGapPreheatAt.known(gap));
  kGapPreheatAt.set(gap, 60);
  CHECK(gap.preheat_at_s == 60);
  CHECK(kGapPreheatAt.known(gap));
}

TEST_CASE("the key of a quantity ends in its unit") {
  const auto check = [](const auto& figures) {
    for (const auto& figure : figures) {
      const std::string key((*figure).key);
      CAPTURE(key);
      const Unit unit = (*figure).unit;
      const std::string ending = unit == Unit::count        ? ""
                                 : unit == Unit::clock      ? "_s"
                                 : unit == Unit::watt_hours ? "_wh"
                                 : unit == Unit::watts      ? "_w"
                                 : unit == Unit::celsius    ? "_c"
                                                            : "_" + std::string(unit_name(unit));
      CHECK(key.ends_with(ending));
      CHECK_FALSE((*figure).words.empty());
    }
  };
  check(kPlanFigures);
  check(kHeadFigures);
  check(std::array{kGapFrom, kGapTo, kGapDip, kGapPreheatAt, kGapWait, kGapHotIdle});
  check(kBoundFigures);
  check(kGramFigures);
  check(kCauseFigures);
  check(kWaitCauses);
}

TEST_CASE("what a diff counts stands below its head, however long a reason is") {
  const DiffCounts counts{.rows = {{"exchange at the hotter of the two", 88, 0},
                                   {"preheat", 7, 0},
                                   {"M104 of the job", 0, 12}},
                          .hunks = 1,
                          .plus = 107,
                          .minus = 12};
  CHECK(text_of(diff_table(counts), 80) ==
        "reason                              inserted    removed\n"
        "exchange at the hotter of the two         88\n"
        "preheat                                    7\n"
        "M104 of the job                                      12\n"
        "together                                  95         12\n"
        "1 hunk: 107 lines in, 12 lines out. A removed line stays as a comment, so it is\n"
        "one in and one out.\n");
}

TEST_CASE("a part of a bar is seen however thin it is") {
  const std::string bar = html_of(CellBar{{{0, 0.97, 0}, {0.97, 0.029, 1}, {0.999, 0.001, 4}}, {}});
  // Its edge is not that of the ground.
  CHECK(bar.find("class=\"look-0\"") != std::string::npos);
  CHECK(bar.find("class=\"look-1 hair\"") != std::string::npos);
  CHECK(bar.find("class=\"look-4 hair\"") != std::string::npos);
}
