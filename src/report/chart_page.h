// What pages of charts are put together from: a header with the cautions, sections, charts in a
// grid, and tables.
//
// Contract: elements that are begun are closed by done(). All text is escaped here. Where
// a chart was thinned, the page says so below it.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "report/chart.h"
#include "report/table.h"

namespace forewarm::report {

class ChartPage {
 public:
  // What the page is of heads it; the lines come below.
  ChartPage(std::string_view title, const std::vector<std::string>& lines);

  void section(std::string_view title);  // ends the one before
  void heading(std::string_view title);  // within a section
  void words(std::string_view text);
  void list(const std::vector<std::string>& items);
  void table(const Table& table);
  void narrow_table(const Table& table);  // of two or three columns
  void folded(std::string_view summary, const Table& table);

  // Charts side by side, as many as there is room for.
  void charts_begin();
  void bars(const Heading& heading, const Axis& axis, std::span<const Bar> bars,
            const std::string& bound_words = {});
  void chart(const Chart& chart);
  void charts_end();
  // A chart over the page's width, with one for phones that has the same in it.
  void broad_chart(Chart chart);

  [[nodiscard]] std::string done();

 private:
  void figure(std::string_view caption, std::string_view kind, std::string_view svg);
  void say_thinned();

  std::string out_;
  bool in_section_ = false, thinned_ = false;
};

}  // namespace forewarm::report
