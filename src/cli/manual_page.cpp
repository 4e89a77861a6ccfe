#include "cli/manual_page.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cctype>

#include "report/format.h"

namespace forewarm::cli {

namespace {

constexpr std::size_t kWidth = 78;
constexpr std::size_t kIndent = 4;

std::vector<std::string> words_of(std::string_view text) {
  std::vector<std::string> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t from = text.find_first_not_of(" \n", at);
    if (from == std::string_view::npos) break;
    at = std::min(text.find_first_of(" \n", from), text.size());
    out.emplace_back(text.substr(from, at - from));
  }
  return out;
}

// For a terminal.
std::string filled(std::string_view text, std::size_t indent) {
  std::string one_line(text);
  std::replace(one_line.begin(), one_line.end(), '\n', ' ');
  return report::wrapped(one_line, indent, kWidth);
}

std::vector<std::string_view> paragraphs(std::string_view text) {
  std::vector<std::string_view> out;
  while (!text.empty()) {
    const std::size_t end = text.find("\n\n");
    if (end != 0) out.push_back(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 2);
  }
  return out;
}

// --- mdoc

// One character of UTF-8, from `at` on; moves `at` behind it.
char32_t code_point(std::string_view text, std::size_t& at) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned first = byte(at++);
  if (first < 0x80) return first;
  const int more = first >= 0xF0 ? 3 : first >= 0xE0 ? 2 : 1;
  char32_t out = first & (0x3FU >> more);
  for (int i = 0; i < more && at < text.size(); ++i) out = (out << 6) | (byte(at++) & 0x3F);
  return out;
}

// Text as roff prints it unchanged: on pages, plain hyphens, quotes and carets are others.
std::string escaped(std::string_view text) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const char32_t c = code_point(text, at);
    switch (c) {
      case '\\':
        out += "\\e";
        break;
      case '-':
        out += "\\-";
        break;
      case '\'':
        out += "\\(aq";
        break;
      case '"':
        out += "\\(dq";
        break;
      case '`':
        out += "\\(ga";
        break;
      case '^':
        out += "\\(ha";
        break;
      case '~':
        out += "\\(ti";
        break;
      default:
        out += c < 0x80 ? std::string(1, char(c)) : fmt::format("\\[u{:04X}]", unsigned(c));
    }
  }
  return out;
}

// A line that is no request, whatever it begins with.
std::string text_line(std::string_view line) {
  const bool request = line.starts_with('.') || line.starts_with('\'');
  return (request ? "\\&" : "") + escaped(line) + '\n';
}

// The words in lines of at most kWidth bytes; each sentence begins one, as mdoc(7) wants it.
std::string by_sentence(std::string_view text) {
  std::string out, line;
  const auto end_line = [&] {
    if (!line.empty()) out += text_line(line);
    line.clear();
  };
  for (const std::string& word : words_of(text)) {
    if (!line.empty() && line.size() + 1 + word.size() > kWidth) end_line();
    line += (line.empty() ? "" : " ") + word;
    if (word.size() > 1 && (word.ends_with('.') || word.ends_with('?'))) end_line();
  }
  end_line();
  return out;
}

std::string text_lines(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    out += text_line(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return out;
}

// An argument of a macro: short words could be macros themselves, or punctuation.
std::string argument(std::string_view text) {
  const std::string out = (text.size() <= 3 ? "\\&" : "") + escaped(text);
  return out.find(' ') == std::string::npos ? out : '"' + out + '"';
}

std::string mdoc_of(const Term& term) {
  std::string out;
  for (const std::string& name : term.names) {
    if (!out.empty()) out += " , ";
    out += name.size() > 1 && name.starts_with('-') ? "Fl " + escaped(name.substr(1))
                                                    : "Sy " + argument(name);
  }
  if (!term.argument.empty()) out += (out.empty() ? "Ar " : " Ar ") + argument(term.argument);
  return out;
}

std::string date_in_words(const std::string& date) {
  constexpr std::array kMonths{"January",   "February", "March",    "April",
                               "May",       "June",     "July",     "August",
                               "September", "October",  "November", "December"};
  const int month = std::stoi(date.substr(5, 2));
  return fmt::format("{} {}, {}", kMonths.at(std::size_t(month - 1)), std::stoi(date.substr(8, 2)),
                     date.substr(0, 4));
}

std::string upper(std::string text) {
  for (char& c : text) c = char(std::toupper(static_cast<unsigned char>(c)));
  return text;
}

std::string text_of(const Term& term) {
  std::string out;
  for (const std::string& name : term.names) out += (out.empty() ? "" : ", ") + name;
  if (!term.argument.empty()) out += (out.empty() ? "" : " ") + term.argument;
  return out;
}

}  // namespace

void ManualPage::add_section(std::string heading) {
  blocks.push_back({.kind = Block::Kind::section, .text = std::move(heading)});
}

void ManualPage::add_subsection(std::string heading) {
  blocks.push_back({.kind = Block::Kind::subsection, .text = std::move(heading)});
}

void ManualPage::add_paragraphs(std::string_view text) {
  for (const std::string_view one : paragraphs(text)) blocks.push_back({.text = std::string(one)});
}

void ManualPage::add_literal(std::string text) {
  blocks.push_back({.kind = Block::Kind::literal, .text = std::move(text)});
}

void ManualPage::add_item(Term term, std::string text) {
  blocks.push_back({Block::Kind::item, std::move(text), std::move(term)});
}

std::string mdoc_of(const ManualPage& page, const Edition& edition) {
  using Kind = Block::Kind;
  std::string out = ".Dd " + date_in_words(edition.date) + '\n';
  out += fmt::format(".Dt {} {}\n.Os {}\n", escaped(upper(page.name)), page.section,
                     argument("forewarm " + edition.version));
  out += ".Sh NAME\n.Nm " + escaped(page.name) + "\n.Nd " + text_line(page.description);
  Kind last = Kind::section;
  for (const Block& block : page.blocks) {
    if (last == Kind::item && block.kind != Kind::item) out += ".El\n";
    const bool first = last == Kind::section || last == Kind::subsection;
    switch (block.kind) {
      case Kind::section:
        out += ".Sh " + argument(block.text) + '\n';
        break;
      case Kind::subsection:
        out += ".Ss " + argument(block.text) + '\n';
        break;
      case Kind::paragraph:
        if (!first) out += ".Pp\n";
        out += by_sentence(block.text);
        break;
      case Kind::literal:
        out += first ? ".Bd -literal -offset indent -compact\n" : ".Bd -literal -offset indent\n";
        out += text_lines(block.text) + ".Ed\n";
        break;
      case Kind::item:
        if (last != Kind::item) out += ".Bl -tag -width Ds\n";
        out += ".It " + mdoc_of(block.term) + '\n';
        for (const std::string_view one : paragraphs(block.text)) {
          if (one.data() != block.text.data()) out += ".Pp\n";
          out += by_sentence(one);
        }
        break;
    }
    last = block.kind;
  }
  if (last == Kind::item) out += ".El\n";
  return out;
}

std::string text_of(const ManualPage& page) {
  using Kind = Block::Kind;
  std::string out = "NAME\n" + filled(page.name + " - " + page.description, kIndent);
  for (const Block& block : page.blocks) {
    switch (block.kind) {
      case Kind::section:
        out += '\n' + block.text + '\n';
        continue;
      case Kind::subsection:
        out += "\n  " + block.text + '\n';
        continue;
      case Kind::paragraph:
        out += filled(block.text, kIndent);
        break;
      case Kind::literal: {
        std::string_view rest = block.text;
        while (!rest.empty()) {
          const std::size_t end = rest.find('\n');
          out += std::string(2 * kIndent, ' ') + std::string(rest.substr(0, end)) + '\n';
          rest.remove_prefix(end == std::string_view::npos ? rest.size() : end + 1);
        }
        break;
      }
      case Kind::item:
        out += std::string(kIndent, ' ') + text_of(block.term) + '\n';
        for (const std::string_view one : paragraphs(block.text)) {
          if (one.data() != block.text.data()) out += '\n';
          out += filled(one, 2 * kIndent);
        }
        break;
    }
    out += '\n';
  }
  // One empty line between blocks, none at the end.
  for (std::size_t at; (at = out.find("\n\n\n")) != std::string::npos;) out.erase(at, 1);
  while (out.ends_with("\n\n")) out.pop_back();
  return out;
}

}  // namespace forewarm::cli
