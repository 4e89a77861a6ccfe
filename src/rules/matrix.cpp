#include "rules/matrix.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>

#include "rules/reader.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr double kMaxCell = 1e6;

struct Field {
  std::string text;
  std::size_t at = 0;  // byte of the line
  bool quoted = false;
};

bool blank(char c) { return c == ' ' || c == '\t'; }

class MatrixReader {
 public:
  MatrixReader(std::string_view text, const std::string& name, const Rules& rules)
      : rest_(text), name_(name), rules_(rules) {
    for (const Toolhead& h : rules.toolheads) {
      for (const int tool : h.tools) served_.push_back(tool);
    }
    std::sort(served_.begin(), served_.end());
    for (const Filament& f : rules.filaments) ++times_named_[f.name];
    for (const Filament& f : rules.filaments) tool_of_name_.emplace(f.name, f.tool);
  }

  Result<Matrix> read() {
    if (rest_.substr(0, 3) == "\xef\xbb\xbf") rest_.remove_prefix(3);
    matrix_.file = name_;
    for (;;) {
      auto more = next();
      if (!more) return std::move(more.error());
      if (!*more) break;
      if (auto s = matrix_.line == 0 ? header() : row(); !s) return std::move(s.error());
    }
    if (matrix_.line == 0) {
      return Error{Error::Kind::rules,
                   "the matrix is empty",
                   name_,
                   0,
                   0,
                   "",
                   "its first row: the unit, g or mm3, then the filaments that come in"};
    }
    if (matrix_.from.empty()) {
      return Error{Error::Kind::rules,
                   "the matrix has no rows",
                   name_,
                   matrix_.line,
                   0,
                   line_,
                   "a row: the filament that goes out, then what each one coming in costs"};
    }
    return std::move(matrix_);
  }

 private:
  Error wrong(std::size_t at, std::string message, std::string hint = {}) const {
    return {Error::Kind::rules,
            std::move(message),
            name_,
            number_,
            characters(std::string_view(line_).substr(0, at)) + 1,
            line_,
            std::move(hint)};
  }

  // The next line with anything on it, as fields; false at the end.
  Result<bool> next() {
    while (!rest_.empty()) {
      const std::size_t end = std::min(rest_.find('\n'), rest_.size());
      std::string_view line = rest_.substr(0, end);
      rest_.remove_prefix(std::min(end + 1, rest_.size()));
      if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
      line_ = line;
      ++number_;
      fields_.clear();
      if (auto s = split(); !s) return std::move(s.error());
      const bool nothing =
          fields_.size() == 1 && fields_.front().text.empty() && !fields_.front().quoted;
      if (!nothing) return true;
    }
    return false;
  }

  Status split() {
    const std::string_view line = line_;
    std::size_t i = 0;
    for (;;) {
      while (i < line.size() && blank(line[i])) ++i;
      Field f{{}, i, i < line.size() && line[i] == '"'};
      if (f.quoted) {
        for (++i;; ++i) {
          if (i >= line.size()) return wrong(f.at, "a quote is opened here and never closed");
          if (line[i] == '"' && (++i >= line.size() || line[i] != '"')) break;
          f.text += line[i];
        }
        while (i < line.size() && blank(line[i])) ++i;
        if (i < line.size() && line[i] != ',' && line[i] != '#') {
          return wrong(i, "after a closing quote comes a comma, or the line's end");
        }
      } else {
        while (i < line.size() && line[i] != ',' && line[i] != '#') f.text += line[i++];
        while (!f.text.empty() && blank(f.text.back())) f.text.pop_back();
      }
      fields_.push_back(std::move(f));
      if (i >= line.size() || line[i] == '#') return success();
      ++i;
    }
  }

  Status header() {
    const Field& unit = fields_.front();
    if (unit.text == "mm3") {
      matrix_.unit = Matrix::Unit::mm3;
    } else if (unit.text != "g") {
      return wrong(unit.at, "the first cell is the unit, g or mm3, not " + quoted(unit.text));
    }
    if (fields_.size() < 2) return wrong(line_.size(), "the first row names no filament");
    for (std::size_t i = 1; i < fields_.size(); ++i) {
      if (auto s = label(fields_[i], "column", matrix_.to, columns_); !s) return s;
    }
    matrix_.line = number_;
    return success();
  }

  Status row() {
    if (auto s = label(fields_.front(), "row", matrix_.from, rows_); !s) return s;
    const std::size_t most = matrix_.to.size() + 1;
    if (fields_.size() > most) {
      return wrong(fields_[most].at,
                   "this row has more cells than the first: " + std::to_string(fields_.size()) +
                       ", not " + std::to_string(most));
    }
    if (fields_.size() < most) {
      return wrong(line_.size(),
                   "this row has fewer cells than the first: " + std::to_string(fields_.size()) +
                       ", not " + std::to_string(most));
    }
    for (std::size_t i = 1; i < fields_.size(); ++i) {
      auto value = cell(fields_[i], matrix_.from.back(), matrix_.to[i - 1]);
      if (!value) return std::move(value.error());
      matrix_.cells.push_back(*value);
    }
    return success();
  }

  Result<double> cell(const Field& f, int from, int to) const {
    if (f.text.empty()) {
      if (from == to) return 0.0;
      return wrong(
          f.at, "the cell T" + std::to_string(from) + " to T" + std::to_string(to) + " is empty");
    }
    double value = 0;
    const char* const end = f.text.data() + f.text.size();
    const auto [stop, error] = std::from_chars(f.text.data(), end, value);
    if (stop != end || error == std::errc::invalid_argument || std::isnan(value)) {
      return wrong(f.at, "a cell must be a number, not " + quoted(f.text));
    }
    if (error != std::errc() || !(value >= 0 && value <= kMaxCell)) {
      return wrong(f.at, "a cell must be from 0 to 1000000, not " + printable(f.text, 80));
    }
    return value + 0.0;  // -0 is 0
  }

  // A T number, or the name of a filament.
  Status label(const Field& f, const char* what, std::vector<int>& into, std::map<int, bool>& had) {
    std::string_view digits = f.text;
    if (!digits.empty() && (digits[0] == 'T' || digits[0] == 't')) digits.remove_prefix(1);
    int tool = -1;
    const auto [stop, error] = std::from_chars(digits.data(), digits.data() + digits.size(), tool);
    const bool numeric = !digits.empty() && stop == digits.data() + digits.size() && tool >= 0;
    if (!numeric || error != std::errc()) {
      const auto named = tool_of_name_.find(f.text);
      if (named == tool_of_name_.end()) return unknown(f);
      if (times_named_.find(f.text)->second > 1) {
        return wrong(f.at, "several filaments are called " + quoted(f.text), "give the T number");
      }
      tool = named->second;
    } else if (!rules_.toolhead_per_tool_seen &&
               !std::binary_search(served_.begin(), served_.end(), tool)) {
      return wrong(f.at, "no toolhead serves T" + std::to_string(tool));
    }
    if (!had.emplace(tool, true).second) {
      return wrong(
          f.at, std::string("there is a ") + what + " for T" + std::to_string(tool) + " already");
    }
    into.push_back(tool);
    return success();
  }

  Status unknown(const Field& f) const {
    if (f.text.empty()) return wrong(f.at, "a filament must be named here");
    std::vector<std::string> names;
    for (const auto& [name, tool] : tool_of_name_) names.push_back(name);
    return wrong(f.at, "there is no filament " + quoted(f.text), suggest(f.text, names));
  }

  std::string_view rest_;
  const std::string& name_;
  const Rules& rules_;
  std::vector<int> served_;
  std::map<std::string, int> tool_of_name_;
  std::map<std::string, int> times_named_;
  Matrix matrix_;
  std::map<int, bool> rows_, columns_;
  std::string line_;
  std::uint64_t number_ = 0;
  std::vector<Field> fields_;
};

}  // namespace

std::optional<double> Matrix::cost(int from_tool, int to_tool) const {
  const auto row = std::find(from.begin(), from.end(), from_tool);
  const auto column = std::find(to.begin(), to.end(), to_tool);
  if (row == from.end() || column == to.end()) return std::nullopt;
  return cells[std::size_t(row - from.begin()) * to.size() + std::size_t(column - to.begin())];
}

Result<Matrix> load_matrix(std::string_view text, const std::string& name, const Rules& rules) {
  if (text.size() > kMaxMatrixBytes) {
    return Error{Error::Kind::rules, "a matrix has at most 1 MiB", name};
  }
  return MatrixReader(text, name, rules).read();
}

}  // namespace forewarm::rules
