// A CSV of temperatures: RFC 4180, with comma, semicolon or tab, whichever the header has.
//
// The header names the columns, in any order: time_s, or time as a stamp; temp_c; and where there
// are, target_c; drive from 0 to 1, or drive_percent; heater, by number or by its toolhead's name.
// Other columns mean nothing. Where fields are not separated by commas, a number may have one in
// place of its point.
#include <fast_float/fast_float.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <string>

#include "record/emitter.h"
#include "record/lines.h"
#include "rules/words.h"

namespace forewarm::record {

namespace {

using Fields = std::vector<std::string_view>;

struct Columns {
  char separator = ',';
  std::size_t count = 0;
  int time = -1, temp = -1, target = -1, drive = -1, heater = -1;
  bool stamps = false, percent = false;
};

constexpr std::string_view kMark = "\xef\xbb\xbf";  // of UTF-8, as spreadsheets write it

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

char separator_of(std::string_view header) {
  char best = ',';
  std::ptrdiff_t most = 0;
  for (const char c : {',', ';', '\t'}) {
    const auto count = std::count(header.begin(), header.end(), c);
    if (count > most) {
      most = count;
      best = c;
    }
  }
  return best;
}

// A row in fields. Quoted ones, without their quotes, are kept in `unquoted`.
class Splitter {
 public:
  explicit Splitter(char separator) : separator_(separator) {}

  // False where a quote is not closed; `quote_at` is its place then.
  bool split(std::string_view row, Fields& fields) {
    fields.clear();
    unquoted_.clear();
    quoted_.clear();
    std::size_t at = 0;
    for (;;) {
      if (at < row.size() && row[at] == '"') {
        if (!quoted_field(row, at, fields)) return false;
      } else {
        const std::size_t end = std::min(row.find(separator_, at), row.size());
        fields.push_back(row.substr(at, end - at));
        at = end;
      }
      if (at >= row.size()) break;
      ++at;
    }
    for (const auto& [field, begin, length] : quoted_) {
      fields[field] = std::string_view(unquoted_).substr(begin, length);
    }
    return true;
  }
  std::size_t quote_at = 0;

 private:
  struct Quoted {
    std::size_t field, begin, length;
  };
  bool quoted_field(std::string_view row, std::size_t& at, Fields& fields) {
    quote_at = at++;
    const std::size_t begin = unquoted_.size();
    for (;; ++at) {
      if (at >= row.size()) return false;
      if (row[at] != '"') {
        unquoted_ += row[at];
      } else if (at + 1 < row.size() && row[at + 1] == '"') {
        unquoted_ += row[at++];
      } else {
        break;
      }
    }
    // Whatever stands between the closing quote and the separator belongs to no field.
    at = std::min(row.find(separator_, at + 1), row.size());
    quoted_.push_back({fields.size(), begin, unquoted_.size() - begin});
    fields.emplace_back();
    return true;
  }

  char separator_;
  std::string unquoted_;
  std::vector<Quoted> quoted_;
};

bool names(std::string_view field, std::string_view name) { return trimmed(field) == name; }

Fields header_fields(std::string_view line, Splitter& splitter) {
  Fields fields;
  if (line.starts_with(kMark)) line.remove_prefix(kMark.size());
  if (!splitter.split(line, fields)) fields.clear();
  return fields;
}

class CsvReader {
 public:
  CsvReader(Lines& lines, const ReadOptions& options, Emitter& into)
      : lines_(lines), options_(options), into_(into), splitter_(',') {}

  Status read() {
    Line line;
    auto more = lines_.next(line);
    if (!more) return std::move(more.error());
    if (auto s = header(line); !s) return s;
    std::uint64_t fills = 0;
    for (;;) {
      more = lines_.next(line);
      if (!more) return std::move(more.error());
      if (!*more) break;
      ++into_.summary().lines;
      if (options_.progress && fills != lines_.fills()) {
        fills = lines_.fills();
        options_.progress(lines_.offset());
      }
      if (!line.ended) {
        into_.summary().cut_off = true;
        break;
      }
      if (auto s = row(line); !s) return s;
    }
    if (!longer_.empty()) return unclosed();
    return success();
  }

 private:
  Status header(const Line& line) {
    ++into_.summary().lines;
    columns_.separator = separator_of(line.text);
    splitter_ = Splitter(columns_.separator);
    const Fields fields = header_fields(line.text, splitter_);
    if (fields.empty()) return lines_.error(line, splitter_.quote_at, "this quote is not closed");
    columns_.count = fields.size();
    struct Named {
      std::string_view name;
      int* column;
    };
    for (const Named& n : {Named{"time_s", &columns_.time}, Named{"time", &columns_.time},
                           Named{"temp_c", &columns_.temp}, Named{"target_c", &columns_.target},
                           Named{"drive", &columns_.drive}, Named{"drive_percent", &columns_.drive},
                           Named{"heater", &columns_.heater}}) {
      for (std::size_t i = 0; i < fields.size(); ++i) {
        if (!names(fields[i], n.name)) continue;
        if (*n.column >= 0) {
          return lines_.error(line, byte_of(line, fields[i]),
                              "column " + rules::quoted(n.name) + " says again what column " +
                                  std::to_string(*n.column + 1) + " says");
        }
        *n.column = int(i);
        columns_.stamps = columns_.stamps || n.name == "time";
        columns_.percent = columns_.percent || n.name == "drive_percent";
      }
    }
    if (columns_.time >= 0 && columns_.temp >= 0) return success();
    return lines_.error(
        line, 0,
        columns_.time < 0 ? "no column is called time_s or time" : "no column is called temp_c",
        "the first row names the columns: time_s or time, temp_c, and where there "
        "are target_c, drive or drive_percent, heater");
  }

  // Of a field that lies in the line; 0 of one that does not.
  static std::size_t byte_of(const Line& line, std::string_view field) {
    const bool inside =
        field.data() >= line.text.data() && field.data() <= line.text.data() + line.text.size();
    return inside ? std::size_t(field.data() - line.text.data()) : 0;
  }

  Status row(const Line& line) {
    std::string_view text = line.text;
    if (!longer_.empty()) {
      longer_.append("\n").append(line.text);
      text = longer_;
      if (longer_.size() > kLongestLine) return unclosed();
    }
    if (text.empty()) return success();
    if (std::memchr(text.data(), '\0', text.size()) != nullptr) {
      ++into_.summary().damaged;
      longer_.clear();
      return success();
    }
    if (!splitter_.split(text, fields_)) {
      if (longer_.empty()) {
        longer_ = text;
        opened_ = lines_.error(line, splitter_.quote_at, "this quote is not closed");
      }
      return success();
    }
    Status status = values(line);
    longer_.clear();
    return status;
  }

  Status unclosed() { return opened_; }

  Status values(const Line& line) {
    if (fields_.size() != columns_.count) {
      return lines_.error(line, line.text.size(),
                          "this row has " + std::to_string(fields_.size()) +
                              " fields, and the header " + std::to_string(columns_.count));
    }
    const std::string_view when = field(columns_.time);
    const auto time = columns_.stamps ? time_of(when, TimeKind::stamp) : number(when);
    if (!time || std::abs(*time) > kLongestS) {
      return lines_.error(
          line, byte_of(line, when),
          rules::quoted(when) + (columns_.stamps ? " is no time such as 2026-05-04T18:30:05.25"
                                                 : " is no number of seconds"));
    }
    std::optional<double> temp, target, drive;
    if (auto s = value(line, columns_.temp, "temperature", temp); !s) return s;
    if (auto s = value(line, columns_.target, "temperature", target); !s) return s;
    if (auto s = value(line, columns_.drive, "drive", drive); !s) return s;
    const double full = columns_.percent ? 100 : 1;
    if (drive && !(*drive >= 0 && *drive <= full)) {
      return lines_.error(line, byte_of(line, field(columns_.drive)),
                          std::string(columns_.percent ? "drive_percent must be from 0 to 100"
                                                       : "drive must be from 0 to 1") +
                              ", not " + std::string(field(columns_.drive)),
                          columns_.percent ? "" : "a column of per cent is called drive_percent");
    }
    const auto heater = this->heater();
    if (!heater) {
      return lines_.error(line, byte_of(line, field(columns_.heater)),
                          "there are more than " + std::to_string(kMostHeaters) + " heaters");
    }
    into_.time(*time, columns_.stamps ? TimeKind::stamp : TimeKind::seconds, line.number);
    if (!temp) {
      ++into_.summary().missing;
      return success();
    }
    if (drive) *drive /= full;
    if (!into_.sample(*heater, *temp, target, drive, line.number)) ++into_.summary().repeated;
    return success();
  }

  [[nodiscard]] std::string_view field(int column) const {
    return column < 0 ? std::string_view() : trimmed(fields_[std::size_t(column)]);
  }

  [[nodiscard]] std::optional<double> number(std::string_view text) const {
    std::string_view rest = text;
    const auto whole = take_number(rest);
    if (rest.empty()) return whole;
    if (whole && rest.front() == 'e') return exponent(text);
    if (rest.front() != ',' || columns_.separator == ',' || !whole) return std::nullopt;
    std::string pointed(text);
    std::replace(pointed.begin(), pointed.end(), ',', '.');
    rest = pointed;
    const auto value = take_number(rest);
    return rest.empty() ? value : std::nullopt;
  }
  // Programs write small numbers so: 5e-05.
  static std::optional<double> exponent(std::string_view text) {
    double value = 0;
    const char* const end = text.data() + text.size();
    const auto [stop, error] = fast_float::from_chars(text.data(), end, value);
    if (error != std::errc() || stop != end || !std::isfinite(value)) return std::nullopt;
    return value;
  }

  // Nothing where the field is empty or says that there is no number.
  Status value(const Line& line, int column, const char* what, std::optional<double>& into) const {
    const std::string_view text = field(column);
    if (text.empty()) return success();
    into = number(text);
    if (into) return success();
    for (const char* none : {"nan", "NaN", "NAN", "NA", "null", "-", "inf", "-inf"}) {
      if (text == none) return success();
    }
    return lines_.error(line, byte_of(line, text), rules::quoted(text) + " is no " + what);
  }

  std::optional<std::size_t> heater() {
    if (columns_.heater < 0) {
      if (!only_) only_ = into_.only_heater();
      return only_;
    }
    const std::string_view name = field(columns_.heater);
    if (!last_heater_ || name != last_name_) {
      last_heater_ = into_.heater_named(name);
      last_name_ = name;
    }
    return last_heater_;
  }

  Lines& lines_;
  const ReadOptions& options_;
  Emitter& into_;
  Columns columns_;
  Splitter splitter_;
  Fields fields_;
  std::string longer_;  // a row whose quotes hold line ends, so far
  Error opened_;
  std::optional<std::size_t> only_, last_heater_;
  std::string last_name_;
};

}  // namespace

bool is_csv_header(std::string_view line) {
  Splitter splitter(separator_of(line));
  const Fields fields = header_fields(line, splitter);
  const auto has = [&](std::string_view name) {
    return std::any_of(fields.begin(), fields.end(),
                       [&](std::string_view field) { return names(field, name); });
  };
  return has("temp_c") && (has("time_s") || has("time"));
}

Status read_csv(Lines& lines, const ReadOptions& options, Emitter& into) {
  return CsvReader(lines, options, into).read();
}

}  // namespace forewarm::record
