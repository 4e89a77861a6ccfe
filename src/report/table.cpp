#include "report/table.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "report/columns.h"
#include "report/format.h"

namespace forewarm::report {

namespace {

constexpr std::size_t kBelowIndent = 4;

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
  if (const auto* bar = std::get_if<CellBar>(&cell)) return html_of(*bar);
  return {};
}

// A table as text, its cells as they are shown.
class TextTable {
 public:
  explicit TextTable(const Table& table) : table_(table) {
    for (std::size_t i = 0; i < table.columns.size(); ++i) {
      const Column& column = table.columns[i];
      if (column.shown == Column::Shown::on_page) continue;
      Shown shown{.column = column, .width = column.width};
      for (const std::string_view word : words_of(column.head)) {
        shown.least = std::max(shown.least, columns_of(word));
      }
      for (const Row& row : table.rows) {
        shown.cells.push_back(shown_in_text(cell_at(row, i), column));
        if (!alone(row)) shown.longest = std::max(shown.longest, columns_of(shown.cells.back()));
      }
      shown.least = std::max(shown.least, shown.longest);
      columns_.push_back(std::move(shown));
    }
  }

  std::string run(std::size_t width) {
    std::string out = text(width);
    if (longest_line_ <= width) return out;
    fit(width);
    return text(width);
  }

 private:
  struct Shown {
    const Column& column;
    std::vector<std::string> cells = {};  // one for each row
    std::size_t width = 0;
    std::size_t longest = 0;  // cell
    std::size_t least = 0;    // width, with a head of several lines
    std::vector<std::string> head = {};
  };

  // What heads the rows below has the whole line.
  static bool alone(const Row& row) { return row.cells.size() == 1; }

  static std::vector<std::string_view> words_of(std::string_view text) {
    std::vector<std::string_view> out;
    while (!text.empty()) {
      out.push_back(text.substr(0, text.find(' ')));
      text.remove_prefix(std::min(text.size(), out.back().size() + 1));
    }
    return out;
  }

  // Blanks before a column: two where it is on the left of its place and follows one on the right.
  [[nodiscard]] std::size_t blanks_before(std::size_t i) const {
    if (i == 0) return 0;
    return columns_[i - 1].column.right && !columns_[i].column.right ? 2 : 1;
  }

  void fit(std::size_t width) {
    std::size_t all = 0;
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      Shown& c = columns_[i];
      c.width = std::max({c.width, c.longest, columns_of(c.column.head)});
      all += blanks_before(i) + c.width;
    }
    // The room that a column can spare goes first, then letters of what is longest.
    const auto spare = [](const Shown& c) { return c.width - std::min(c.width, c.least); };
    const auto letters = [](const Shown& c) {
      constexpr std::size_t kFew = 8;
      const bool text = c.column.kind != Column::Kind::number && !c.column.right;
      return text && c.width > kFew ? c.width : 0;
    };
    const auto take = [&](const auto& from) {
      while (all > width) {
        const auto most =
            std::max_element(columns_.begin(), columns_.end(),
                             [&](const Shown& a, const Shown& b) { return from(a) < from(b); });
        if (most == columns_.end() || from(*most) == 0) break;
        --most->width;
        --all;
      }
    };
    take(spare);
    take(letters);
    for (Shown& c : columns_) {
      for (std::size_t r = 0; r < c.cells.size(); ++r) {
        const std::size_t most = alone(table_.rows[r]) ? width : c.width;
        if (columns_of(c.cells[r]) > most) c.cells[r] = cut_to(c.cells[r], most);
      }
      for (const std::string_view word : words_of(c.column.head)) {
        const bool fits =
            !c.head.empty() && columns_of(c.head.back()) + 1 + columns_of(word) <= c.width;
        if (fits) {
          c.head.back().append(" ").append(word);
        } else {
          c.head.emplace_back(cut_to(std::string(word), std::max<std::size_t>(c.width, 3)));
        }
      }
    }
  }

  // A line of the table; `cell` says what of each column.
  template <class CellOf>
  void line(std::string& out, const CellOf& cell_of) {
    std::string line;
    for (std::size_t i = 0; i < columns_.size(); ++i) {
      const Shown& c = columns_[i];
      const std::string& cell = cell_of(c);
      line.append(blanks_before(i), ' ');
      const std::string blanks(c.width - std::min(c.width, columns_of(cell)), ' ');
      line += c.column.right ? blanks + cell : cell + blanks;
    }
    line.resize(line.find_last_not_of(' ') + 1);
    longest_line_ = std::max(longest_line_, columns_of(line));
    out += line + '\n';
  }

  std::string text(std::size_t width) {
    static const std::string kNothing;
    std::size_t heads = 0;
    for (const Shown& c : columns_) heads = std::max(heads, c.head.size());
    std::string out;
    if (heads == 0) line(out, [](const Shown& c) -> const std::string& { return c.column.head; });
    for (std::size_t h = 0; h < heads; ++h) {
      line(out, [&](const Shown& c) -> const std::string& {
        const std::size_t above = heads - c.head.size();
        return h < above ? kNothing : c.head[h - above];
      });
    }
    for (std::size_t r = 0; r < table_.rows.size(); ++r) {
      line(out, [r](const Shown& c) -> const std::string& { return c.cells[r]; });
      const std::string& below = table_.rows[r].below;
      if (!below.empty()) out += wrapped(clean(below), kBelowIndent, width);
    }
    return out;
  }

  const Table& table_;
  std::vector<Shown> columns_;
  std::size_t longest_line_ = 0;
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
    case Column::Kind::bar:
      return "<td class=\"b\">" + shown + "</td>";
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

std::string text_of(const Table& table, std::size_t width) {
  std::string out = TextTable(table).run(width);
  if (!table.note.empty()) out += wrapped(table.note, 0, width);
  return out;
}

std::string html_of(const CellBar& bar) {
  // Lengths in per cent are not stretched as a viewBox would be: edges stay as thin as they are.
  const auto per_cent = [](double share) {
    return fmt::format("{}%", number(100 * std::clamp(share, 0.0, 1.0), 3));
  };
  constexpr int kHeight = 16;
  constexpr std::array<int, CellBar::kLooks> kHeights{16, 13, 10, 7, 4};
  // What is narrower has an edge of its own colour: on a phone, where a bar has 70 pixels, that of
  // the ground would cover it.
  constexpr double kHair = 0.03;
  std::string out =
      fmt::format("<svg class=\"bar\" width=\"100%\" height=\"{}\" aria-hidden=\"true\">", kHeight);
  for (const CellBar::Part& part : bar.parts) {
    if (!(part.share > 0)) continue;
    const int height = kHeights.at(part.look);
    out += fmt::format("<rect class=\"look-{}{}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
                       part.look, part.share < kHair ? " hair" : "", per_cent(part.from),
                       kHeight - height, per_cent(part.share), height);
  }
  if (bar.line) {
    out += fmt::format("<line class=\"across\" x1=\"{0}\" x2=\"{0}\" y1=\"-3\" y2=\"{1}\"/>",
                       per_cent(*bar.line), kHeight + 3);
  }
  return out + "</svg>";
}

std::string html_of(const Table& table) {
  // A wide table scrolls in its own box, not the page.
  std::string out = "<div class=\"scroll\" tabindex=\"0\"><table>\n<thead><tr>";
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
