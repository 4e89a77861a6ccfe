#include "report/chart_page.h"

#include <fmt/format.h>

#include <utility>

#include "report/figures.h"
#include "report/format.h"
#include "report/page_frame.h"

namespace forewarm::report {

ChartPage::ChartPage(std::string_view title, const std::vector<std::string>& lines)
    : out_(page_begun(title, PageScript::none)) {
  out_ += fmt::format("<header>\n<h1>{}</h1>\n", escaped(title));
  for (const std::string& line : lines) out_ += fmt::format("<p>{}</p>\n", escaped(line));
  out_ += fmt::format("</header>\n<p class=\"caution\"><strong>Caution.</strong> {}</p>\n",
                      escaped(kCautions));
}

void ChartPage::section(std::string_view title) {
  if (in_section_) out_ += "</section>\n";
  in_section_ = true;
  out_ += fmt::format("<section>\n<h2>{}</h2>\n", escaped(title));
}

void ChartPage::heading(std::string_view title) {
  out_ += fmt::format("<h3>{}</h3>\n", escaped(title));
}

void ChartPage::words(std::string_view text) { out_ += fmt::format("<p>{}</p>\n", escaped(text)); }

void ChartPage::list(const std::vector<std::string>& items) {
  if (items.empty()) return;
  out_ += "<ul>\n";
  for (const std::string& item : items) out_ += fmt::format("<li>{}</li>\n", escaped(item));
  out_ += "</ul>\n";
}

void ChartPage::table(const Table& table) {
  out_ += "<div class=\"sheet\">\n" + html_of(table) + "</div>\n";
}

void ChartPage::narrow_table(const Table& table) {
  out_ += "<div class=\"narrow\">\n" + html_of(table) + "</div>\n";
}

void ChartPage::folded(std::string_view summary, const Table& table) {
  out_ += fmt::format("<details>\n<summary>{}</summary>\n{}</details>\n", escaped(summary),
                      html_of(table));
}

void ChartPage::charts_begin() { out_ += "<div class=\"charts\">\n"; }

void ChartPage::bars(const Heading& heading, const Axis& axis, std::span<const Bar> bars,
                     const std::string& bound_words) {
  figure(heading.title, "", bars_svg(heading, axis, bars, bound_words));
}

void ChartPage::chart(const Chart& chart) {
  const Drawn drawn = chart_svg(chart);
  thinned_ = thinned_ || drawn.thinned;
  figure(chart.heading.title, "", drawn.svg);
}

void ChartPage::charts_end() {
  out_ += "</div>\n";
  say_thinned();
}

void ChartPage::broad_chart(Chart chart) {
  constexpr double kBroad = 940;
  const Drawn narrow = chart_svg(chart);
  chart.width = kBroad;
  const Drawn broad = chart_svg(chart);
  thinned_ = thinned_ || broad.thinned;
  figure(chart.heading.title, " class=\"wide-chart\"",
         fmt::format("<div class=\"on-phone\">{}</div>\n<div class=\"on-desk\">{}</div>\n",
                     narrow.svg, broad.svg));
}

std::string ChartPage::done() {
  say_thinned();
  if (in_section_) out_ += "</section>\n";
  out_ += page_ended();
  return std::move(out_);
}

void ChartPage::figure(std::string_view caption, std::string_view kind, std::string_view svg) {
  out_ += fmt::format("<figure{}>\n<figcaption>{}</figcaption>\n{}</figure>\n", kind,
                      escaped(caption), svg);
}

void ChartPage::say_thinned() {
  if (!std::exchange(thinned_, false)) return;
  out_ +=
      "<p class=\"note\">There is more than can be drawn: each pixel column of a line has its "
      "lowest and its highest value, and points that cover each other are drawn once.</p>\n";
}

}  // namespace forewarm::report
