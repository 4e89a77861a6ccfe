// The keys of a rule file, described once.
//
// Each section has a table of typed descriptors. Everything that depends on which keys there are
// comes from it: reading with its diagnostics (table.h, which can only be asked by a descriptor's
// field), the known keys of a hint, ranges, `--sweep`, the reference (key_info.h), and the tests of
// all these. A new key is a field in rules.h, with its default and its unit in the name, and an
// entry in keys.cpp, keys_machine.cpp or keys_record.cpp; what must hold between keys is code in
// load*.cpp.
//
// Contract: constant data, in the order in which the reference shows it. A name is unique in its
// section. Words are complete sentences about the key in the file, not about the program.
#pragma once

#include <array>
#include <exception>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <type_traits>
#include <variant>
#include <vector>

#include "rules/limits.h"
#include "rules/rules.h"

namespace forewarm::rules {

// What a key may be set to, and where the value goes in a section S.

template <class S>
struct Number {
  // A heater's own values lie in the Hotend of a Toolhead.
  std::variant<double S::*, std::optional<double> S::*, double thermal::Hotend::*> field;
  Limits limits;
  std::string_view word = {};  // may stand in place of the number, and sets `word_flag`
  bool S::*word_flag = nullptr;

  [[nodiscard]] std::optional<double> get(const S& from) const;
  // REQUIRES: limits.admit(value). The word is no longer in force then.
  void set(S& into, double value) const;
};

template <class S>
struct Index {  // a whole number from 0 to kMaxIndex
  std::variant<int S::*, std::optional<int> S::*> field;
};

template <class S>
struct Flag {
  bool S::*field;
};

enum class TextRule {
  line,      // fit to be copied into jobs, see why_unfit()
  name,      // likewise, and not empty
  sequence,  // the name of a step sequence, or empty for none
  pattern,   // RE2, and not empty
};
template <class S>
struct Text {
  std::string S::*field;
  TextRule rule;
};

struct Word {
  std::string_view name;
  int value;  // of the enum
  std::string_view doc;
};
template <class S>
struct Choice {
  std::span<const Word> words;
  int (*get)(const S& from);
  void (*set)(S& into, int value);
};

template <class S>
struct Lines {  // an array of lines of G-code
  std::vector<std::string> S::*field;
  bool patterns = false;  // of RE2 patterns instead, none of them empty
};

template <class S>
struct LineOrLines {  // a line of G-code, or an array of them
  std::vector<std::string> S::*field;
};

template <class S>
struct PerAxis {  // a table of x, y, z and e; the default stands for those left out
  Axes S::*field;
  Limits limits;
};

template <class S>
struct Spans {  // a table with [lowest, highest] for each of the first axes
  std::variant<std::array<Range, 3> S::*, std::optional<std::array<Range, 2>> S::*> field;
};

// Values that only the loader can read, as they depend on other sections.
template <class S>
struct Tools {  // an array of T numbers, or "seen"
  std::vector<int> S::*field;
};
template <class S>
struct PlaceList {  // an array of T numbers and names of toolheads
  std::variant<Places S::*, std::optional<Places> S::*> field;
};
struct Version {};  // always 1

// A key that says what a step does.
struct StepAction {
  enum class Takes { number, true_only, position, line };
  Step::Action action;
  Takes takes;
  Limits limits = {};                               // of a number
  std::array<std::string_view, 2> companions = {};  // the other keys that the step may have

  [[nodiscard]] bool goes_with(std::string_view key) const {
    return !key.empty() && (key == companions[0] || key == companions[1]);
  }
};

struct SectionInfo;
struct Part {  // a table of its own
  const SectionInfo* section;
};

template <class S>
using Value =
    std::variant<Number<S>, Index<S>, Flag<S>, Text<S>, Choice<S>, Lines<S>, LineOrLines<S>,
                 PerAxis<S>, Spans<S>, Tools<S>, PlaceList<S>, Version, StepAction, Part>;

template <class S>
struct Key {
  std::string_view name;
  Value<S> value;
  std::string_view doc;  // one to three sentences for the user
  bool required = false;
  std::string_view hint = {};     // for a diagnostic where it is missing or out of place
  std::string_view derived = {};  // the default in words, where it is not that of a new S
  std::string_view example = {};  // as written in TOML; empty: the default is one

  // Whether its value goes to that field of S, or of the Hotend in it.
  template <class Member>
  [[nodiscard]] bool is(Member member) const;
  // Null where it is no number.
  [[nodiscard]] const Number<S>* number() const { return std::get_if<Number<S>>(&value); }
};

struct SectionInfo {
  enum class Shape {
    file,       // the top level
    one,        // [name]
    list,       // [[name]], any number
    named,      // [name.NAME], under names of the user's own
    part,       // name = { ... } in another section
    sequences,  // [name], with arrays of steps under names of the user's own
  };
  std::string_view name;    // as in the file
  std::string_view header;  // as messages and headings call it
  Shape shape;
  std::string_view doc;
};

template <class S>
struct Section : SectionInfo {
  std::span<const Key<S>> keys;

  // Null if there is none of that name.
  [[nodiscard]] const Key<S>* find(std::string_view key) const;
  // REQUIRES: some key has that field.
  template <class Member>
  [[nodiscard]] const Key<S>& of(Member member) const;
};

namespace sections {
extern const Section<Rules> file;  // the version, and the sections below
extern const Section<Machine> machine;
extern const Section<Motion> motion;
extern const Section<Feeder> feeder;
extern const Section<AttentionSettings> attention;
extern const Section<Toolhead> toolhead;
extern const Section<Toolhead> heater;  // of a toolhead
extern const Section<Filament> filament;
extern const Section<Filament> material;  // what filaments of it have in common
extern const Section<GapSettings> gap;
extern const Section<Step> steps;
extern const Section<Dialect> dialect;
extern const Section<Recognise> recognise;
extern const Section<Duration> duration;
extern const Section<RecordSettings> record;
extern const Section<Observe> observe;
}  // namespace sections

// Calls visit(section) with each of them, in the order in which the reference shows them.
template <class Visit>
void for_each_section(Visit visit) {
  namespace s = sections;
  visit(s::file);
  visit(s::machine);
  visit(s::motion);
  visit(s::feeder);
  visit(s::attention);
  visit(s::toolhead);
  visit(s::heater);
  visit(s::filament);
  visit(s::material);
  visit(s::gap);
  visit(s::steps);
  visit(s::dialect);
  visit(s::recognise);
  visit(s::duration);
  visit(s::record);
  visit(s::observe);
}

// ------------------------------------------------------------------------------ implementation

template <class S>
std::optional<double> Number<S>::get(const S& from) const {
  return std::visit(
      [&](auto member) -> std::optional<double> {
        if constexpr (!std::is_same_v<decltype(member), double thermal::Hotend::*>) {
          return from.*member;
        } else if constexpr (std::is_same_v<S, Toolhead>) {
          return from.hotend.*member;
        } else {
          return std::nullopt;
        }
      },
      field);
}

template <class S>
void Number<S>::set(S& into, double value) const {
  std::visit(
      [&](auto member) {
        if constexpr (!std::is_same_v<decltype(member), double thermal::Hotend::*>) {
          into.*member = value;
        } else if constexpr (std::is_same_v<S, Toolhead>) {
          into.hotend.*member = value;
        }
      },
      field);
  if (word_flag != nullptr) into.*word_flag = false;
}

namespace detail {
template <class Member>
struct SameField {
  Member member;
  bool operator()(Member field) const { return field == member; }
  template <class Other>
  bool operator()(const Other&) const {
    return false;
  }
  template <class... Fields>
  bool operator()(const std::variant<Fields...>& field) const {
    return std::visit(*this, field);
  }
};
}  // namespace detail

template <class S>
template <class Member>
bool Key<S>::is(Member member) const {
  return std::visit(
      [&](const auto& v) {
        if constexpr (requires { v.field; }) {
          return detail::SameField<Member>{member}(v.field);
        } else {
          return false;
        }
      },
      value);
}

template <class S>
const Key<S>* Section<S>::find(std::string_view key) const {
  for (const Key<S>& k : keys) {
    if (k.name == key) return &k;
  }
  return nullptr;
}

template <class S>
template <class Member>
const Key<S>& Section<S>::of(Member member) const {
  for (const Key<S>& k : keys) {
    if (k.is(member)) return k;
  }
  std::terminate();  // a bug: such a field has no key
}

}  // namespace forewarm::rules
