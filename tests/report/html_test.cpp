#include <algorithm>
#include <catch2/catch.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "report/report.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

// What is wrong with the tags of a page, if anything: every one closed, in order, every attribute
// quoted, no stray < or &. Stricter than HTML, which is the point.
std::string broken_markup(std::string_view page) {
  const std::vector<std::string_view> empty{"meta", "!DOCTYPE"};
  std::vector<std::string> open;
  std::size_t i = 0;
  const auto here = [&] { return " near: " + std::string(page.substr(i, 60)); };
  while (i < page.size()) {
    if (page[i] == '&') {
      const std::string_view entity = page.substr(i, page.find(';', i) - i + 1);
      if (entity != "&amp;" && entity != "&lt;" && entity != "&gt;" && entity != "&quot;" &&
          entity != "&#39;") {
        return "stray &" + here();
      }
    }
    if (page[i] == '>') return "stray >" + here();
    if (page[i] != '<') {
      ++i;
      continue;
    }
    const bool closing = page.substr(i, 2) == "</";
    std::size_t at = i + (closing ? 2 : 1);
    const std::size_t name_end = page.find_first_of(" />\n", at);
    if (name_end == std::string_view::npos) return "unfinished tag" + here();
    const std::string name(page.substr(at, name_end - at));
    if (name.empty()) return "stray <" + here();
    at = name_end;
    bool self_closed = false;
    for (bool quoted = false; at < page.size() && (quoted || page[at] != '>'); ++at) {
      if (page[at] == '"') quoted = !quoted;
      if (page[at] == '=' && !quoted && page[at + 1] != '"') return "unquoted" + here();
      if (page[at] == '<') return "tag in tag" + here();
      self_closed = !quoted && page[at] == '/';
    }
    if (at >= page.size()) return "unfinished tag" + here();
    const bool is_empty = std::find(empty.begin(), empty.end(), name) != empty.end();
    if (closing) {
      if (open.empty() || open.back() != name) return "closes what is not open" + here();
      open.pop_back();
    } else if (!self_closed && !is_empty) {
      open.push_back(name);
    }
    i = at + 1;
    if (name == "style" && !closing) i = page.find("</style>", i);
  }
  return open.empty() ? "" : "never closed: " + open.back();
}

std::size_t count(std::string_view page, std::string_view what) {
  std::size_t n = 0;
  for (std::size_t at = page.find(what); at != std::string_view::npos;
       at = page.find(what, at + what.size())) {
    ++n;
  }
  return n;
}

bool has(const std::string& page, std::string_view what) {
  return page.find(what) != std::string::npos;
}

}  // namespace

TEST_CASE("the checker of markup finds what is broken") {
  CHECK(broken_markup("<p a=\"1\">x &amp; y</p><meta><br/>").empty());
  for (const char* bad : {"<p>", "</p>", "<p><b></p></b>", "<p a=1></p>", "a < b", "a & b", "<p",
                          "a > b", "<p a=\"<b>\"></p>"}) {
    INFO(bad);
    CHECK_FALSE(broken_markup(bad).empty());
  }
}

TEST_CASE("the page is well-formed and needs nothing from elsewhere") {
  const std::string page = html(Sample().summary());
  CHECK(broken_markup(page) == "");
  CHECK(page.starts_with("<!DOCTYPE html>\n"));
  CHECK(page.ends_with("</html>\n"));
  for (const char* outside : {"src=", "href=", "url(", "@import", "<script", "<link"}) {
    INFO(outside);
    CHECK_FALSE(has(page, outside));
  }
  CHECK(has(page, "prefers-color-scheme: dark"));
  CHECK(has(page, "@media print"));
}

TEST_CASE("the cautions stand before any figure") {
  const std::string page = html(Sample().summary());
  CHECK(page.find("thermal-runaway protection on") < page.find("<h2>"));
}

TEST_CASE("the page shows the figures") {
  const std::string page = html(Sample().summary());
  for (const char* row : {
           "<div><dt>Waiting</dt><dd>1 min 13 s</dd><dd class=\"was\">as sliced 8 min 20 s</dd>",
           "<tr><th scope=\"row\">hold</th><td>59 min 00 s</td><td>40.0 s</td>"
           "<td>40 min 00 s</td><td>75.0 Wh</td><td>2</td><td>100 W</td></tr>",
           "<tr class=\"force\"><th scope=\"row\">lookahead *</th>",
           "<td>10.0 s</td><td>1 min 40 s</td>",
           "<th scope=\"row\">right</th><td>1</td><td>1</td><td>0</td><td>1</td><td>40.0 s</td>"
           "<td>21.2 Wh</td><td>0 s</td>",
           "<th scope=\"row\">granite</th><td class=\"t\">T0</td><td>3.0 g</td><td>0.3 g</td>"
           "<td>0</td>",
           "<tr class=\"late\"><td class=\"t\">left</td><td>0:20:00</td><td>0:40:00</td>"
           "<td class=\"t\">standby</td><td>170</td><td>0:39:00</td><td>12.6</td><td>90</td>"
           "<td class=\"t\">parked 1200 s, preheat 60 s ahead</td></tr>",
       }) {
    INFO(row);
    CHECK(has(page, row));
  }
}

TEST_CASE("every toolhead has its bars on the timeline") {
  const std::string page = html(Sample().summary());
  // 1000 units for 3600 s, from 120 on: "left" is in use from planning's start at 120 s.
  for (const char* bar : {
           "<rect class=\"use\" x=\"153.3\" y=\"0\" width=\"300\" height=\"22\">"
           "<title>use 0:02:00 to 0:20:00: T0 granite</title></rect>",
           "<rect class=\"standby\" x=\"453.3\" y=\"13\" width=\"316.7\" height=\"9\">",
           "<path class=\"preheat\" d=\"M770 22H786.7V0z\">",
           "<title>use 0:40:00 to 1:00:00: T2 T2</title>",
           "<rect class=\"wait\" x=\"786.7\" y=\"-6\" width=\"3.5\" height=\"4\">"
           "<title>wait of 12.6 s at 0:40:00</title></rect>",
           "<rect class=\"hold\" x=\"153.3\" y=\"7\" width=\"300\" height=\"15\">",
           "<title>use 0:20:00 to 0:40:00: T1 signal red</title>",
           "<rect class=\"off\" x=\"786.7\" y=\"19\" width=\"333.3\" height=\"3\">",
           ">1 h</text>",
       }) {
    INFO(bar);
    CHECK(has(page, bar));
  }
}

TEST_CASE("hostile names are text, nothing else") {
  Sample s;
  const std::string evil = "</title></style><script>alert('x')</script>\"&\x1b\xff";
  s.path = evil;
  s.rules.machine.name = evil;
  s.job.heads[0].name = evil;
  s.rules.filaments[0].name = evil;
  s.lookahead.gaps[0].reason = evil;
  const std::string page = html(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK_FALSE(has(page, "<script"));
  CHECK_FALSE(has(page, "\x1b"));
  CHECK_FALSE(has(page, "\xff"));
  CHECK(has(page,
            "&lt;/title&gt;&lt;/style&gt;&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;"
            "&quot;&amp;?\xef\xbf\xbd"));
}

TEST_CASE("a job with nothing to plan has a page, too") {
  Sample s;
  s.job = {};
  for (plan::Plan* p : {&s.as_sliced, &s.timers, &s.hold, &s.lookahead}) *p = {};
  const std::string page = html(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(has(page, "there is nothing to plan"));
  CHECK_FALSE(has(page, "<h2>Timeline"));
}

TEST_CASE("four hundred gaps are open to see, the rest is folded away") {
  CHECK_FALSE(has(html(crowded(400).summary()), "<details>"));
  const std::string page = html(crowded(401).summary());
  CHECK(has(page, "<summary>1 gap more</summary>"));
  CHECK(count(page, "<td class=\"t\">parked 20 s") == 401);
}

TEST_CASE("ten thousand gaps make a page that a browser still opens") {
  const Sample s = crowded(10'000);
  const std::string page = html(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(page.size() < 5'000'000);
  // No more bars than pixels, but for one row of waits.
  CHECK(count(page, "<title>") < 2 * 2 * 1000);
}
