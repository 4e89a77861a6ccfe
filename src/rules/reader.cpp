#include "rules/reader.h"

#include <algorithm>
#include <cmath>
#include <tuple>

#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr int kMaxBrackets = 16;
constexpr int kMaxDots = 16;

std::string_view line_of(std::string_view text, std::uint64_t line) {
  while (line > 1) {
    const std::size_t end = text.find('\n');
    if (end == std::string_view::npos) return {};
    text.remove_prefix(end + 1);
    --line;
  }
  text = text.substr(0, text.find('\n'));
  if (!text.empty() && text.back() == '\r') text.remove_suffix(1);
  return text;
}

// The end of the string that starts at `i`, one past its closing quotes.
std::size_t string_end(std::string_view text, std::size_t i) {
  const char quote = text[i];
  const std::string_view triple = quote == '"' ? R"(""")" : "'''";
  const bool multi_line = text.substr(i, 3) == triple;
  i += multi_line ? 3 : 1;
  for (; i < text.size(); ++i) {
    if (text[i] == '\\' && quote == '"') {
      ++i;
    } else if (multi_line) {
      if (text.substr(i, 3) == triple) {
        i += 3;
        while (i < text.size() && text[i] == quote) ++i;  // up to two quotes may end the content
        return i;
      }
    } else if (text[i] == quote) {
      return i + 1;
    } else if (text[i] == '\n') {
      return i;  // unclosed: the parser will say so
    }
  }
  return text.size();
}

Position position_at(std::string_view text, std::size_t offset) {
  const std::string_view head = text.substr(0, offset);
  const std::size_t start = head.rfind('\n') + 1;  // npos + 1 is 0
  const auto lines = std::count(head.begin(), head.end(), '\n') + 1;
  const auto characters = std::count_if(head.begin() + static_cast<std::ptrdiff_t>(start),
                                        head.end(), [](char c) { return (c & 0xc0) != 0x80; }) +
                          1;
  return {static_cast<toml::source_index>(lines), static_cast<toml::source_index>(characters)};
}

}  // namespace

void Diagnostics::add(Position at, std::string message, std::string hint) {
  if (!wanted(at)) return;
  first_ =
      Error{Error::Kind::rules, std::move(message), file_, at.line, at.column, {}, std::move(hint)};
}

bool Diagnostics::wanted(Position at) const {
  return !first_ || std::tuple<std::uint64_t, std::uint64_t>(at.line, at.column) <
                        std::tie(first_->line, first_->column);
}

Error Diagnostics::first() const {
  Error error = *first_;
  error.excerpt = line_of(text_, error.line);
  return error;
}

std::optional<Position> too_deep(std::string_view text) {
  int brackets = 0, dots = 0;
  bool line_start = true;
  for (std::size_t i = 0; i < text.size();) {
    const char c = text[i];
    switch (c) {
      case '"':
      case '\'':
        i = string_end(text, i);
        line_start = false;
        continue;
      case '#':
        i = std::min(text.find('\n', i), text.size());
        continue;
      case '[':
      case '{':
        // A header starts afresh, so that an unclosed one is left for the parser to complain of.
        if (line_start && c == '[' && brackets <= 2) brackets = 0;
        dots = 0;
        if (++brackets > kMaxBrackets) return position_at(text, i);
        break;
      case ']':
      case '}':
        brackets = std::max(0, brackets - 1);
        [[fallthrough]];
      case ',':
      case '=':
      case '\n':
        dots = 0;
        break;
      case '.':
        if (++dots > kMaxDots) return position_at(text, i);
        break;
      default:
        break;
    }
    line_start = c == '\n' || (line_start && (c == ' ' || c == '\t' || c == '['));
    ++i;
  }
  return std::nullopt;
}

std::string kind_of(const toml::node& node) {
  switch (node.type()) {
    case toml::node_type::table:
      return "a table";
    case toml::node_type::array:
      return "an array";
    case toml::node_type::string:
      return "a string";
    case toml::node_type::integer:
      return "an integer";
    case toml::node_type::floating_point:
      return "a float";
    case toml::node_type::boolean:
      return "a boolean";
    case toml::node_type::date:
      return "a date";
    case toml::node_type::time:
      return "a time";
    case toml::node_type::date_time:
      return "a date-time";
    default:
      return "nothing";
  }
}

std::optional<std::string> why_unfit(std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    const auto next = i + 1 < text.size() ? static_cast<unsigned char>(text[i + 1]) : 0U;
    // U+0080..U+009F are controls too: 0xC2 and one of 0x80..0x9F.
    if (c < 0x20 || c == 0x7f || (c == 0xc2 && next >= 0x80 && next < 0xa0)) {
      return "must not contain line ends or other control characters";
    }
  }
  if (text.find(";fw") != std::string_view::npos) {
    return "must not contain \";fw\", which marks the lines that rewriting inserts";
  }
  return std::nullopt;
}

std::optional<double> number_in(const toml::node& node, std::string_view what, const Limits& limits,
                                Diagnostics& diagnostics) {
  const std::string name(what);
  double value = 0;
  if (const auto* whole = node.as_integer()) {
    value = static_cast<double>(whole->get());
  } else if (const auto* real = node.as_floating_point()) {
    value = real->get();
  } else {
    diagnostics.add(position_of(node), name + " must be a number, not " + kind_of(node));
    return std::nullopt;
  }
  if (!std::isfinite(value)) {
    diagnostics.add(position_of(node), name + " must be a finite number, not " + text_of(value));
    return std::nullopt;
  }
  if (!limits.admit(value)) {
    diagnostics.add(position_of(node), name + ' ' + limits.text() + ", not " + text_of(value));
    return std::nullopt;
  }
  return value;
}

std::optional<int> index_in(const toml::node& node, std::string_view what,
                            Diagnostics& diagnostics) {
  const auto* whole = node.as_integer();
  if (whole == nullptr) {
    diagnostics.add(position_of(node),
                    std::string(what) + " must be a whole number, not " + kind_of(node));
    return std::nullopt;
  }
  if (whole->get() < 0 || whole->get() > kMaxIndex) {
    diagnostics.add(position_of(node), std::string(what) + " must be from 0 to " +
                                           std::to_string(kMaxIndex) + ", not " +
                                           std::to_string(whole->get()));
    return std::nullopt;
  }
  return static_cast<int>(whole->get());
}

RawTable::RawTable(const toml::table& table, std::string where, std::vector<std::string_view> known,
                   Diagnostics& diagnostics)
    : table_(table), where_(std::move(where)), diagnostics_(diagnostics) {
  for (const auto& [key, value] : table_) {
    if (std::find(known.begin(), known.end(), key.str()) != known.end()) continue;
    has_unknown_ = true;
    if (!diagnostics_.wanted(key.source().begin)) continue;
    diagnostics_.add(key.source().begin, "unknown key " + quoted(key.str()) + " in " + where_,
                     suggest(key.str(), known));
  }
}

Position RawTable::at(std::string_view key) const {
  const toml::node* node = find(key);
  return node == nullptr ? at() : position_of(*node);
}

Position RawTable::at_key(std::string_view key) const {
  const auto it = table_.find(key);
  return it == table_.end() ? at() : it->first.source().begin;
}

bool RawTable::need(std::string_view key, std::string_view hint) const {
  if (find(key) != nullptr) return true;
  if (!has_unknown_) {
    diagnostics_.add(at(), where_ + " needs " + quoted(key), std::string(hint));
  }
  return false;
}

bool RawTable::number(std::string_view key, const Limits& limits, double& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const auto value = number_in(*node, key, limits, diagnostics_);
  if (value) into = *value;
  return value.has_value();
}

bool RawTable::index(std::string_view key, int& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const auto value = index_in(*node, key, diagnostics_);
  if (value) into = *value;
  return value.has_value();
}

bool RawTable::flag(std::string_view key, bool& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const auto* value = node->as_boolean();
  if (value == nullptr) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be true or false, not " + kind_of(*node));
    return false;
  }
  into = value->get();
  return true;
}

bool RawTable::raw_text(std::string_view key, std::string& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const auto* value = node->as_string();
  if (value == nullptr) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be a string, not " + kind_of(*node));
    return false;
  }
  into = value->get();
  return true;
}

bool RawTable::fit_text(std::string_view key, std::string& into) const {
  std::string text;
  if (!raw_text(key, text)) return false;
  if (const auto why = why_unfit(text)) {
    diagnostics_.add(at(key), std::string(key) + ' ' + *why);
    return false;
  }
  into = std::move(text);
  return true;
}

bool RawTable::filled_text(std::string_view key, std::string& into) const {
  std::string text;
  if (!raw_text(key, text)) return false;
  if (text.empty()) {
    diagnostics_.add(at(key), std::string(key) + " must not be empty");
    return false;
  }
  into = std::move(text);
  return true;
}

bool RawTable::name(std::string_view key, std::string& into) const {
  std::string text;
  return fit_text(key, text) && filled_text(key, into);
}

bool RawTable::lines(std::string_view key, bool patterns, std::vector<std::string>& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const toml::array* array = node->as_array();
  if (array == nullptr) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be an array of strings, not " + kind_of(*node));
    return false;
  }
  std::vector<std::string> out;
  const std::string what = (patterns ? "a pattern of " : "a line of ") + std::string(key);
  const auto why_wrong = [&](const std::string& text) -> std::optional<std::string> {
    if (!patterns) return why_unfit(text);
    return text.empty() ? std::optional<std::string>("must not be empty") : std::nullopt;
  };
  for (const toml::node& element : *array) {
    const auto* line = element.as_string();
    if (line == nullptr) {
      diagnostics_.add(position_of(element), what + " must be a string, not " + kind_of(element));
    } else if (const auto why = why_wrong(line->get())) {
      diagnostics_.add(position_of(element), what + ' ' + *why);
    } else {
      out.push_back(line->get());
    }
  }
  into = std::move(out);
  return true;
}

bool RawTable::range(std::string_view key, Range& into) const {
  const toml::node* node = find(key);
  if (node == nullptr) return false;
  const toml::array* pair = node->as_array();
  if (pair == nullptr || pair->size() != 2) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be an array of two numbers, lowest and highest");
    return false;
  }
  const Limits limits{Range().low, Range().high};
  const auto low = number_in(*pair->get(0), key, limits, diagnostics_);
  const auto high = number_in(*pair->get(1), key, limits, diagnostics_);
  if (!low || !high) return false;
  if (*low >= *high) {
    diagnostics_.add(position_of(*node), std::string(key) + " must go from lower to higher, not " +
                                             text_of(*low) + " to " + text_of(*high));
    return false;
  }
  into = {*low, *high};
  return true;
}

std::optional<RawTable> RawTable::table(std::string_view key, std::string where,
                                        std::vector<std::string_view> known) const {
  const toml::table* inner = open_table(key);
  if (inner == nullptr) return std::nullopt;
  return RawTable(*inner, std::move(where), std::move(known), diagnostics_);
}

const toml::table* RawTable::open_table(std::string_view key) const {
  const toml::node* node = find(key);
  if (node == nullptr) return nullptr;
  const toml::table* inner = node->as_table();
  if (inner == nullptr) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be a table, not " +
                         (node->is_array_of_tables() ? "an array of tables" : kind_of(*node)));
  }
  return inner;
}

std::vector<const toml::table*> RawTable::tables(std::string_view key) const {
  const toml::node* node = find(key);
  std::vector<const toml::table*> out;
  if (node == nullptr) return out;
  const toml::array* array = node->as_array();
  if (array == nullptr) {
    diagnostics_.add(position_of(*node),
                     std::string(key) + " must be an array of tables, not " + kind_of(*node),
                     node->is_table() ? "write [[" + std::string(key) + "]]" : "");
    return out;
  }
  for (const toml::node& element : *array) {
    if (const toml::table* inner = element.as_table()) {
      out.push_back(inner);
    } else {
      diagnostics_.add(position_of(element),
                       std::string(key) + " must hold tables, not " + kind_of(element));
    }
  }
  return out;
}

}  // namespace forewarm::rules
