#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <string>
#include <string_view>
#include <tuple>
#include <vector>

#include "markup.h"
#include "report/page_files.h"
#include "report/page_frame.h"
#include "report/report.h"
#include "sample.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

// The page as it is where no script runs.
std::string without_scripts(std::string page) {
  for (std::size_t at = page.find("<script"); at != std::string::npos; at = page.find("<script")) {
    page.erase(at, page.find("</script>", at) + 9 - at);
  }
  return page;
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
  const std::string page = page_of(Sample().summary());
  CHECK(broken_markup(page) == "");
  CHECK(page.starts_with("<!DOCTYPE html>\n"));
  CHECK(page.ends_with("</html>\n"));
  const std::string still = without_scripts(page);
  for (const char* outside : {"src=", "href=", "@import", "<script", "<link", " style=", " on"}) {
    INFO(outside);
    // " on" begins words of ours, but no attribute.
    CHECK_FALSE(has(still, outside[1] == 'o' ? " onload=" : outside));
  }
  CHECK(count(still, "url(") == count(still, "url(#look-"));
  CHECK(has(page, "prefers-color-scheme: dark"));
  CHECK(has(page, "@media print"));
}

TEST_CASE("the policy allows the page's own style and script by their hashes, nothing else") {
  const std::string page = page_of(Sample().summary());
  CHECK(has(page, fmt::format("content=\"default-src 'none'; style-src '{}'; script-src '{}'; "
                              "base-uri 'none'; form-action 'none'\">",
                              kPageStyleHash, kPageScriptHash)));
  CHECK(has(page, fmt::format("<style>{}</style>", kPageStyle)));
  CHECK(has(page, fmt::format("<script>{}</script>", kPageScript)));
  CHECK(count(page, "<script") == 2);
  const std::string still = page_begun("a & b", PageScript::none) + page_ended();
  CHECK(broken_markup(still) == "");
  CHECK(has(still, "<title>a &amp; b - forewarm</title>"));
  CHECK_FALSE(has(still, "script"));
}

TEST_CASE("the cautions stand before any figure") {
  const std::string page = page_of(Sample().summary());
  CHECK(page.find("thermal-runaway protection on") < page.find("<h2>"));
}

TEST_CASE("the page shows the figures") {
  const std::string page = page_of(Sample().summary());
  for (const char* row : {
           "<dl><dt>Waiting</dt><dd>1 min 13 s</dd><dd class=\"was\">as sliced 8 min 20 s</dd>",
           "<th scope=\"row\">right</th><td>1</td><td>1</td><td>0</td><td>1</td><td>40.0 s</td>"
           "<td>21.2 Wh</td><td>0 s</td>",
           "<tr class=\"late\"><td class=\"t\">left</td><td>2</td><td>0:20:00</td><td>0:40:00</td>"
           "<td class=\"t\">standby</td><td>170</td><td>0:39:00</td><td>12.6</td><td>90</td>"
           "<td class=\"t\">parked 1200 s, preheat 60 s ahead</td></tr>",
       }) {
    INFO(row);
    CHECK(has(page, row));
  }
}

TEST_CASE("the page says by which rules it was made, harmlessly") {
  Sample s;
  CHECK(has(page_of(s.summary()), "<p>Rules: bench.toml, 0123456789abcdef</p>\n</header>\n"));
  s.rules.file = "<script>.toml";
  CHECK(has(page_of(s.summary()), "<p>Rules: &lt;script&gt;.toml, 0123456789abcdef</p>\n"));
}

TEST_CASE("the page says when the job may need attention") {
  Sample s;
  s.rules.feeder.fault_odds = 0.02;
  s.job.heads[1].fault_odds = 0.0001;
  Summary summary = s.summary();
  const std::string facts =
      "<h2>When it may need attention</h2>\n<div class=\"tiles\">\n"
      "<dl><dt>Expected stops</dt><dd>0.040</dd>"
      "<dd class=\"was\">by the rule file&#39;s fault_odds</dd></dl>\n"
      "<dl><dt>Chance of none</dt><dd>96.0 %</dd><dd class=\"was\">2 exchanges</dd></dl>\n"
      "<dl><dt>Longest without an exchange</dt><dd>34 min 15 s</dd><dd class=\"was\">";
  CHECK(has(page_of(summary), facts + "0:00:00 to 0:34:15</dd></dl>\n</div>\n</section>\n"));

  const auto scheduled = [&](const char* start, std::vector<std::string> away) {
    summary.schedule = Schedule{*parse_start(start), {}};
    for (const std::string& text : away) summary.schedule->away.push_back(*parse_away(text));
    const std::string page = page_of(summary);
    CHECK(broken_markup(page) == "");
    return page;
  };
  // The start that helps is the first of every 15 minutes after which 22:00-07:00 is over.
  const std::string at_night = scheduled("2027-03-05T21:30", {"22:00-07:00"});
  CHECK(has(at_night, facts + "2027-03-05 21:30 to 2027-03-05 22:04</dd></dl>\n</div>\n"));
  CHECK(has(at_night,
            "<p>From 2027-03-05 21:30 to 2027-03-05 22:30, without time zones or daylight-saving "
            "time.</p>\n"));
  CHECK(has(at_night, "<span>22</span> <b>2</b><i>away</i></li>"));
  CHECK(
      has(at_night,
          "<h3>Away 22:00-07:00</h3>\n<div class=\"scroll\" tabindex=\"0\"><table>\n<thead><tr>"
          "<th scope=\"col\">Started</th><th scope=\"col\" class=\"n\">Exchanges then</th>"
          "<th scope=\"col\" class=\"n\">Expected stops then</th></tr></thead>\n<tbody>\n"
          "<tr><th scope=\"row\">2027-03-05 21:30</th><td>2 of 2</td><td>0.040</td></tr>\n"
          "<tr><th scope=\"row\">2027-03-06 06:30</th><td>0 of 2</td><td>under 0.001</td></tr>\n"
          "</tbody>\n</table></div>\n<p class=\"note\">No start within 24 h, in steps of 15 min, "
          "has fewer exchanges in those hours than the second, and no earlier one as few.</p>\n"));
  // 2055 s and 2310.5 s after 23:24: before midnight, and after it.
  const std::string over_midnight = scheduled("2027-03-05T23:24", {"12:00-13:00", "14:00-15:00"});
  CHECK(has(over_midnight,
            "<span>23</span> <b>1</b></li>\n</ol>\n<h4>2027-03-06</h4>\n<ol>\n"
            "<li class=\"shade-4\"><span>00</span> <b>1</b></li>\n"));
  CHECK(has(over_midnight, "<h3>Away 12:00-13:00, 14:00-15:00</h3>"));
  CHECK(has(over_midnight, "has fewer exchanges in those hours than this.</p>"));
  // Hours of one day; nobody is ever away.
  const std::string never_away = scheduled("2027-03-05T20:23", {});
  CHECK(
      has(never_away, "<span>20</span> <b>1</b></li>\n<li class=\"shade-4\"><span>21</span> <b>1"));
  CHECK_FALSE(has(never_away, "<h3>Away"));
  CHECK_FALSE(has(never_away, "<i>away</i>"));
}

TEST_CASE("the page says where nothing is known of stops, and what to give") {
  const Sample s;
  Summary summary = s.summary();
  summary.schedule = Schedule{*parse_start("2027-03-05T21:30"), {*parse_away("22:00-07:00")}};
  const std::string page = page_of(summary);
  CHECK(broken_markup(page) == "");
  CHECK(
      has(page,
          "<dl><dt>Expected stops</dt><dd>not known</dd>"
          "<dd class=\"was\">give fault_odds in [feeder] or [[toolhead]]</dd></dl>\n"
          "<dl><dt>Chance of none</dt><dd>not known</dd><dd class=\"was\">2 exchanges</dd></dl>"));
  CHECK(has(page,
            "<tr><th scope=\"row\">2027-03-05 21:30</th><td>2 of 2</td><td>not known</td></tr>"));
}

TEST_CASE("every toolhead has its row in the still picture") {
  const std::string page = page_of(Sample().summary());
  // 1000 points for 3600 s, from 120 on: "left" prints from planning's start at 120 s.
  for (const char* bar : {
           // T0 to 1200 s, its foot at 56, 22 high; T2 and T0 once more later
           "<path fill=\"url(#look-0)\" d=\"M153.3 56h300v-22h-300z",
           "<path class=\"standby\" d=\"M453.3 56h316.7v-9h-316.7z\"/>",
           "<path class=\"heating\" d=\"M770 56H786.7V36z\"/>",
           "<path class=\"wait\" d=\"M786.7 32h3.5v-4h-3.5z\"/>",
           // "right", a row below: hold, T1, off
           "<path class=\"hold\" d=\"M153.3 168h300v-15h-300z\"/>",
           "<path fill=\"url(#look-1)\" d=\"M453.3 168h333.3v-22h-333.3z\"/>",
           "<path class=\"off\" d=\"M786.7 168h333.3v-3h-333.3z\"/>",
           "<b>A</b> T0 granite</li>",
           "<b>C</b> T2</li>",
           ">55 min</text>",
       }) {
    INFO(bar);
    CHECK(has(page, bar));
  }
}

TEST_CASE("the still picture counts in the unit that its job is long in") {
  Sample s;
  for (const auto& [seconds, ticks, none] : {std::tuple{5.0, ">5 s</text>", " min</text>"},
                                             {223.0, ">210 s</text>", " min</text>"},
                                             {1900.0, ">30 min</text>", " h</text>"},
                                             {3600.0, ">55 min</text>", " h</text>"},
                                             {5 * 3600.0, ">4.5 h</text>", " min</text>"},
                                             {5 * 86400.0, ">120 h</text>", " min</text>"}}) {
    s.lookahead.figures.duration_s = seconds;
    const std::string page = page_of(s.summary());
    INFO(seconds);
    CHECK(has(page, ticks));
    CHECK_FALSE(has(page, none));
  }
}

TEST_CASE("names of toolheads stay legible in the still picture") {
  Sample s;
  const auto named = [&](const char* name) {
    s.job.heads[0].name = name;
    return page_of(s.summary());
  };
  CHECK(has(named("north of it"), "text-anchor=\"end\">north of it</text>"));
  CHECK(has(named("the north head"),
            " textLength=\"104\" lengthAdjust=\"spacingAndGlyphs\">the north head</text>"));
  // Two that differ at the end only stay two.
  CHECK(has(named("the head of the north side 1"), ">the head…th side 1</text>"));
  CHECK(has(named("the head of the north side 2"), ">the head…th side 2</text>"));
  const std::string heath = "\xe8\x8d\x92";  // two columns wide
  std::string long_heath;
  for (int i = 0; i < 12; ++i) long_heath += heath;
  CHECK(has(named(long_heath.c_str()),
            ">" + heath + heath + heath + heath + "…" + heath + heath + heath + heath));
}

TEST_CASE("changes are told in kinds that add up") {
  CHECK(has(page_of(Sample().summary()),
            "<p>5 changes: 1 toolhead, 1 filament, 1 both, 1 redundant, 1 first.</p>"));
}

TEST_CASE("with a start the still picture has the clock, its days, and the hours away") {
  Sample s;
  Summary summary = s.summary();
  summary.schedule = Schedule{*parse_start("2027-03-05T23:30"), {{22 * 60, 7 * 60}}};
  std::string page = page_of(summary);
  CHECK(has(page, ">00:00</text>"));
  CHECK(has(page, ">2027-03-06</text>"));
  CHECK(has(page, "<path class=\"away\" d=\"M120 "));
  summary.schedule->away.clear();
  page = page_of(summary);
  CHECK_FALSE(has(page, "class=\"away\""));
}

TEST_CASE("layers that are too many to be shown are said to be left out") {
  Sample s;  // two layers, but not where they begin
  // Beside the moving picture, too.
  CHECK(has(page_of(s.summary()),
            "</div>\n<p class=\"note\">Layers are left out: they are too many.</p>"));
  s.job.layer_starts = {{100, 60}, {2000, 1800}};
  CHECK_FALSE(has(page_of(s.summary()), "left out"));
  s.job.layer_starts.clear();
  s.job.layers = 0;
  CHECK_FALSE(has(page_of(s.summary()), "left out"));
}

TEST_CASE("layers that cannot be told apart stand together, and the picture says how many") {
  Sample s;
  const auto with_layers = [&s](std::size_t count) {
    s.job.layer_starts.clear();
    for (std::size_t i = 0; i < count; ++i) {
      s.job.layer_starts.push_back({100 + i, 60 + 3500.0 * double(i) / double(count)});
    }
    return page_of(s.summary());
  };
  // A layer needs four points of a thousand; every second one is dark.
  const std::string each = with_layers(250);
  CHECK(has(each, ">layers</text>"));
  CHECK(count(each.substr(each.find("<path class=\"layer\"")), "z\"/>") > 0);
  for (const auto& [layers, stride] :
       {std::pair{251, 2}, {501, 5}, {1250, 5}, {1251, 10}, {2501, 20}, {5001, 50}, {12501, 100}}) {
    CAPTURE(layers);
    const std::string page = with_layers(std::size_t(layers));
    CHECK(has(page, fmt::format(">every {} layers</text>", stride).c_str()));
    const std::size_t from = page.find("<path class=\"layer\" d=\"");
    REQUIRE(from != std::string::npos);
    const std::string dark = page.substr(from, page.find("\"/>", from) - from);
    CHECK(count(dark, "M") == std::size_t((layers + 2 * stride - 1) / (2 * stride)));
  }
}

TEST_CASE("step sequences that can be seen are drawn in the still picture, where they are") {
  Sample s;
  plan::Plan as_sliced = s.as_sliced;
  as_sliced.change_at_s = s.lookahead.change_at_s;
  const Summary all{s.path, s.job, s.rules, as_sliced, s.timers, s.hold, s.lookahead};
  plan::Trace trace = trace_of(s.job, s.lookahead);
  // 36 s are ten points; what is narrower than three is left out.
  const auto sequence = plan::Trace::Stop::Kind::sequence;
  trace.stops = {{360, 396, 1, sequence}, {720, 724, 1, sequence}};
  const std::string page = html(all, picture_of(all, trace, trace_of(s.job, as_sliced)));
  CHECK(has(page, "<path class=\"sequence\" d=\"M220 181h10v-6h-10z\"/>"));
  CHECK(count(page, "<path class=\"sequence\"") == 2);  // it, and the legend
}

TEST_CASE("filaments are lettered as columns of a sheet are: A to Z, then AA, AB") {
  Sample s;
  for (int tool = 3; tool < 28; ++tool) {
    job::ToolUse use = s.job.uses.back();
    use.tool = tool;
    s.job.uses.push_back(use);
  }
  const std::string page = page_of(s.summary());
  for (const char* entry : {"<b>A</b> T0 granite</li>", "<b>D</b> T3</li>", "<b>Z</b> T25</li>",
                            "<b>AA</b> T26</li>", "<b>AB</b> T27</li>"}) {
    INFO(entry);
    CHECK(has(page, entry));
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
  const std::string page = page_of(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(count(page, "<script") == 2);  // ours
  CHECK_FALSE(has(page, "<script>alert"));
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
  const std::string page = page_of(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(has(page, "there is nothing to plan"));
  CHECK_FALSE(has(page, "<h2>What happens when"));
  CHECK_FALSE(has(page, "<h2>When it may need attention"));
}

TEST_CASE("two hundred rows of a table are in the page's text, the script has all") {
  const std::string all = without_scripts(page_of(crowded(200).summary()));
  CHECK(count(all, "<td class=\"t\">parked 20 s") == 200);
  CHECK_FALSE(has(all, "These are the first"));
  const std::string page = page_of(crowded(201).summary());
  CHECK(count(without_scripts(page), "<td class=\"t\">parked 20 s") == 200);
  CHECK(has(page, "These are the first 200 of 201 gaps."));
  CHECK(count(page, "\"parked 20 s") == 201);
}

TEST_CASE("ten thousand gaps make a page that a browser still opens") {
  const Sample s = crowded(10'000);
  const std::string page = page_of(s.summary());
  CHECK(broken_markup(page) == "");
  CHECK(page.size() < 5'000'000);
  // No more of the still picture than columns and rows need.
  const std::string still = without_scripts(page);
  CHECK(still.size() < 400'000);
}
