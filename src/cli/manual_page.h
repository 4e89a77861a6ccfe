// A page of the manual as a value, and what man(1) and a terminal make of it.
//
// What a page says is decided in manual.h; here is only how it looks. Texts are plain: paragraphs
// are reflowed, literals stay line by line. Pure.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace forewarm::cli {

// What a list explains: "-o, --output FILE".
struct Term {
  std::vector<std::string> names;
  std::string argument = {};
};

struct Block {
  enum class Kind { section, subsection, paragraph, literal, item };
  Kind kind = Kind::paragraph;
  std::string text = {};
  Term term = {};  // of an item, whose text explains it; an empty line stands between paragraphs
};

struct ManualPage {
  std::string name;         // "forewarm-rewrite"
  int section = 1;          // of the manual
  std::string description;  // one line, without a full stop
  std::vector<Block> blocks = {};

  void add_section(std::string heading);
  void add_subsection(std::string heading);
  void add_paragraphs(std::string_view text);  // an empty line stands between two
  void add_literal(std::string text);
  void add_item(Term term, std::string text);
};

struct Edition {
  std::string version;
  std::string date;  // "2027-03-05"
};

// The source of the page in mdoc(7). REQUIRES: a date of that form.
[[nodiscard]] std::string mdoc_of(const ManualPage& page, const Edition& edition);
// For reading on a terminal, no wider than 80 columns but for literals.
[[nodiscard]] std::string text_of(const ManualPage& page);

}  // namespace forewarm::cli
