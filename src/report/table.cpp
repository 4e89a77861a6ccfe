#include "report/table.h"

#include <fmt/format.h>

#include <algorithm>

#include "report/format.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kBelowIndent = 4;

// No more than `width` characters of a name.
std::string cut_to(const std::string& whole, std::size_t width) {
  std::size_t characters = 0;
  std::size_t cut = 0;  // where the last character that fits, before "...", ends
  for (std::size_t i = 0; i < whole.size(); ++i) {
    if ((static_cast<unsigned char>(whole[i]) & 0xc0) == 0x80) continue;  // in a sequence
    if (characters++ == width - 3) cut = i;
  }
  return characters <= width ? whole : whole.substr(0, cut) + "...";
}

const Cell& cell_at(const Row& row, std::size_t column) {
  static const Cell none;
  return column < row.cells.size() ? row.cells[column] : none;
}

std::string shown_in_text(const Cell& cell, const Column& column) {
  if (const auto* text = std::get_if<std::string>(&cell)) {
    const std::string whole = clean(*text);
    return column.cut ? cut_to(whole, column.width) : whole;
  }
  if (const auto* amount = std::get_if<Amount>(&cell)) return text_of(*amount);
  return {};
}

std::string shown_on_page(const Cell& cell, const Column& column) {
  if (const auto* text = std::get_if<std::string>(&cell)) return escaped(*text);
  if (const auto* amount = std::get_if<Amount>(&cell)) {
    return column.bare ? text_of_number(*amount) : text_of(*amount);
  }
  return {};
}

// Two blanks stand before a column on the left of its place that follows one on the right of its.
class TextLine {
 public:
  void add(const Column& column, const std::string& cell) {
    if (!first_) out_ += after_right_ && !column.right ? "  " : " ";
    out_ += column.right ? fmt::format("{:>{}}", cell, column.width)
                         : fmt::format("{:<{}}", cell, column.width);
    first_ = false;
    after_right_ = column.right;
  }
  [[nodiscard]] std::string finish() {
    out_.resize(out_.find_last_not_of(' ') + 1);
    return std::move(out_) + '\n';
  }

 private:
  std::string out_;
  bool first_ = true, after_right_ = false;
};

const char* class_of(Row::Mark mark) {
  switch (mark) {
    case Row::Mark::in_force:
      return " class=\"force\"";
    case Row::Mark::limit:
      return " class=\"bound\"";
    case Row::Mark::late:
      return " class=\"late\"";
    case Row::Mark::none:
      break;
  }
  return "";
}

std::string page_cell(const Column& column, const std::string& shown) {
  switch (column.kind) {
    case Column::Kind::name:
      return "<th scope=\"row\">" + shown + "</th>";
    case Column::Kind::text:
      return "<td class=\"t\">" + shown + "</td>";
    case Column::Kind::number:
      break;
  }
  return "<td>" + shown + "</td>";
}

}  // namespace

std::string capitalised(std::string_view words) {
  std::string out(words);
  if (!out.empty() && out[0] >= 'a' && out[0] <= 'z') out[0] = char(out[0] - 'a' + 'A');
  return out;
}

std::string text_of(const Table& table) {
  TextLine heads;
  for (const Column& column : table.columns) {
    if (column.shown != Column::Shown::on_page) heads.add(column, column.head);
  }
  std::string out = heads.finish();
  for (const Row& row : table.rows) {
    TextLine line;
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      const Column& column = table.columns[i];
      if (column.shown == Column::Shown::on_page) continue;
      line.add(column, shown_in_text(cell_at(row, i), column));
    }
    out += line.finish();
    if (!row.below.empty()) out += wrapped(clean(row.below), kBelowIndent);
  }
  if (!table.note.empty()) out += wrapped(table.note, 0);
  return out;
}

std::string html_of(const Table& table) {
  // A wide table scrolls in its own box, not the page.
  std::string out = "<div class=\"scroll\"><table>\n<thead><tr>";
  for (const Column& column : table.columns) {
    if (column.shown == Column::Shown::in_text) continue;
    out += column.kind == Column::Kind::number ? "<th scope=\"col\" class=\"n\">"
                                               : "<th scope=\"col\">";
    out += escaped(column.page_head.empty() ? capitalised(column.head) : column.page_head);
    out += "</th>";
  }
  out += "</tr></thead>\n<tbody>\n";
  for (const Row& row : table.rows) {
    out += fmt::format("<tr{}>", class_of(row.mark));
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      const Column& column = table.columns[i];
      if (column.shown == Column::Shown::in_text) continue;
      out += page_cell(column, shown_on_page(cell_at(row, i), column));
    }
    out += "</tr>\n";
  }
  out += "</tbody>\n</table></div>\n";
  if (!table.note.empty()) out += "<p class=\"note\">" + escaped(table.note) + "</p>\n";
  return out;
}

}  // namespace forewarm::report
