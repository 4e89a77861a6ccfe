#include "rules/set_values.h"

#include <algorithm>
#include <optional>

#include "rules/load.h"
#include "rules/path_tables.h"
#include "rules/reader.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::size_t npos = std::string_view::npos;

// The byte at a place, whose column counts characters.
std::optional<std::size_t> offset_of(std::string_view text, Position at) {
  std::size_t offset = 0;
  for (toml::source_index line = 1; line < at.line; ++line) {
    const std::size_t end = text.find('\n', offset);
    if (end == npos) return std::nullopt;
    offset = end + 1;
  }
  for (toml::source_index column = 1; column < at.column; ++column) {
    if (offset >= text.size() || text[offset] == '\n') return std::nullopt;
    do {
      ++offset;
    } while (offset < text.size() && (static_cast<unsigned char>(text[offset]) & 0xc0U) == 0x80U);
  }
  return offset;
}

// Past the string that begins at `i`.
std::size_t past_string(std::string_view text, std::size_t i) {
  const char quote = text[i];
  const std::string triple(3, quote);
  const bool longer = text.substr(i, 3) == triple;
  i += longer ? 3 : 1;
  while (i < text.size()) {
    if (quote == '"' && text[i] == '\\') {
      i += 2;
    } else if (longer ? text.substr(i, 3) == triple : text[i] == quote) {
      i += longer ? 3 : 1;
      while (longer && i < text.size() && text[i] == quote) ++i;
      return i;
    } else {
      ++i;
    }
  }
  return text.size();
}

// Past the value that begins at `i`, in text that parses.
std::size_t past_value(std::string_view text, std::size_t i) {
  int depth = 0;
  const std::size_t begin = i;
  while (i < text.size()) {
    const char c = text[i];
    if (c == '"' || c == '\'') {
      i = past_string(text, i);
      if (depth == 0) return i;
      continue;
    }
    if (c == '[' || c == '{') ++depth;
    if (c == ']' || c == '}') {
      if (depth == 0) break;
      --depth;
      if (depth == 0) return i + 1;
    }
    if (c == '#' && depth > 0) {
      i = std::min(text.find('\n', i), text.size());
      continue;
    }
    if (depth == 0 && (c == ',' || c == '#' || c == '\n' || c == '\r')) break;
    ++i;
  }
  while (i > begin && (text[i - 1] == ' ' || text[i - 1] == '\t')) --i;
  return i;
}

// The value as written in TOML.
std::string written(const std::string& value) {
  const toml::table parsed = value_of(value);
  const auto* word = parsed.get("v")->as_string();
  const bool quoted = !value.empty() && (value[0] == '"' || value[0] == '\'');
  if (word == nullptr || quoted) return value;
  return toml_string(word->get());
}

std::string line_end(std::string_view text) {
  const std::size_t lf = text.find('\n');
  return lf != npos && lf > 0 && text[lf - 1] == '\r' ? "\r\n" : "\n";
}

// The last of a table's own keys in the file that is a plain value, or the header.
std::optional<Position> last_key(const toml::table& table) {
  std::optional<Position> last;
  for (const auto& [key, node] : table) {
    const bool inside = node.is_table() ? node.as_table()->is_inline() : !node.is_array_of_tables();
    const Position at = key.source().begin;
    if (!inside || at.line == 0) continue;
    if (!last || std::pair(at.line, at.column) > std::pair(last->line, last->column)) last = at;
  }
  return last;
}

class Editor {
 public:
  explicit Editor(std::string text) : text_(std::move(text)) {}

  // False where it does not know how.
  bool put(const KeyPath& path, const std::string& value) {
    toml::table file = toml::parse(text_);
    const auto found = table_of(path, file);
    if (!found || *found == nullptr) return false;
    toml::table& table = **found;
    if (!path.axis.empty()) return false;
    const toml::node* there = table.get(path.key.name);
    if (there != nullptr && position_of(*there).line > 0) return replace(*there, value);
    const std::string line = std::string(path.key.name) + " = " + written(value);
    if (position_of(table).line == 0) return append_section(path, line);
    return table.is_inline() ? add_inline(table, line) : add_line(table, line);
  }
  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  bool replace(const toml::node& node, const std::string& value) {
    const auto from = offset_of(text_, position_of(node));
    if (!from) return false;
    text_.replace(*from, past_value(text_, *from) - *from, written(value));
    return true;
  }

  bool add_inline(const toml::table& table, const std::string& line) {
    const auto from = offset_of(text_, position_of(table));
    if (!from || text_[*from] != '{') return false;
    std::size_t close = past_value(text_, *from) - 1;
    while (close > *from + 1 && (text_[close - 1] == ' ' || text_[close - 1] == '\t')) --close;
    text_.insert(close, (table.empty() ? " " : ", ") + line);
    return true;
  }

  bool add_line(const toml::table& table, const std::string& line) {
    const auto last = last_key(table);
    const auto from = offset_of(text_, last ? *last : position_of(table));
    if (!from) return false;
    std::size_t begin = text_.rfind('\n', *from);
    begin = begin == npos ? 0 : begin + 1;
    std::size_t end = *from;
    if (last) {
      // A dotted key has no table of its own to stand in.
      const std::string_view before = std::string_view(text_).substr(begin, *from - begin);
      if (before.find_first_not_of(" \t") != npos) return false;
      const std::size_t equals = text_.find('=', *from);
      if (equals == npos) return false;
      std::size_t value = equals + 1;
      while (value < text_.size() && (text_[value] == ' ' || text_[value] == '\t')) ++value;
      end = past_value(text_, value);
    }
    const std::string indent = last ? text_.substr(begin, *from - begin) : std::string();
    end = std::min(text_.find('\n', end), text_.size());
    const std::string ending = line_end(text_);
    if (end == text_.size()) {
      text_ += ending + indent + line + ending;
    } else {
      text_.insert(end + 1, indent + line + ending);
    }
    return true;
  }

  bool append_section(const KeyPath& path, const std::string& line) {
    if (path.key.section->shape != SectionInfo::Shape::one) return false;
    const std::string ending = line_end(text_);
    if (!text_.empty() && text_.back() != '\n') text_ += ending;
    text_ += ending + std::string(path.key.section->header) + ending + line + ending;
    return true;
  }

  std::string text_;
};

}  // namespace

Result<std::string> with_values(std::string_view text, const std::string& name,
                                std::span<const Setting> settings) {
  if (auto rules = load(text, name, settings); !rules) return std::move(rules.error());
  try {
    Editor editor{std::string(text)};
    toml::table expected = toml::parse(text);
    for (const Setting& s : settings) {
      const auto path = parse_path(s.path);
      if (!path) return path.error();
      if (auto applied = apply(s, expected); !applied) return std::move(applied.error());
      Error cannot{Error::Kind::rules, s.path + " cannot be put into this file as it is laid out",
                   name};
      cannot.hint = "write " + s.path + " = " + s.value + " there by hand";
      if (!editor.put(*path, s.value)) return cannot;
      // Whatever the layout was: what came of it says this and nothing else.
      if (toml::parse(editor.text()) != expected) return cannot;
    }
    if (auto rules = load(editor.text(), name); !rules) return std::move(rules.error());
    return editor.text();
  } catch (const toml::parse_error& e) {
    return Error{Error::Kind::internal,
                 "the changed rule file does not parse: " + printable(e.description(), 400), name};
  }
}

}  // namespace forewarm::rules
