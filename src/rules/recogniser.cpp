#include "rules/recogniser.h"

#include <re2/re2.h>
#include <re2/set.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <string>

#include "rules/limits.h"
#include "rules/patterns.h"

namespace forewarm::rules {

namespace {

constexpr std::int64_t kSetMemory = 16 << 20;
constexpr double kMaxTemperature = 2000;

constexpr std::initializer_list<const char*> kGroups{"tool", "heater", "temp"};

struct Groups {
  int tool = 0, heater = 0, temp = 0;
};

Groups groups_of(const RE2& re) {
  return {group_of(re, "tool"), group_of(re, "heater"), group_of(re, "temp")};
}

std::optional<int> index_from(std::string_view text) {
  int value = 0;
  const char* end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, value);
  if (result.ec != std::errc() || result.ptr != end || value < 0 || value > kMaxIndex) {
    return std::nullopt;
  }
  return value;
}

std::optional<double> temperature_from(std::string_view text) {
  double value = 0;
  const char* end = text.data() + text.size();
  const auto result = std::from_chars(text.data(), end, value);
  if (result.ec != std::errc() || result.ptr != end || !std::isfinite(value) || value < 0 ||
      value > kMaxTemperature) {
    return std::nullopt;
  }
  return value;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_quantifier(char c) { return c == '?' || c == '*' || c == '+' || c == '{'; }

// Whether `pattern` might match within a line of an ordinary move. It is decided on the pattern's
// text, and only a no is certain: it takes a pattern tied to the start of the line, without
// alternatives, that goes on with a character or a G number no move starts with.
bool could_want_moves(std::string_view pattern) {
  if (pattern.find('|') != std::string_view::npos) return true;
  if (pattern.substr(0, 4) == "(?i)") pattern.remove_prefix(4);
  if (pattern.empty() || pattern[0] != '^') return true;  // e.g. of a comment behind the move
  pattern.remove_prefix(1);

  const auto at = [&](std::size_t i) { return i < pattern.size() ? pattern[i] : '\0'; };
  const char first = at(0);
  const bool literal = std::string_view(".[]()*+?{}\\$^|").find(first) == std::string_view::npos;
  const bool ascii = static_cast<unsigned char>(first) < 0x80;  // else at(1) is not what follows
  if (first == '\0' || !literal || !ascii || is_quantifier(at(1))) return true;
  if (first == ' ' || first == '\t' || first == 'N' || first == 'n') return true;  // before the G
  if (first != 'G' && first != 'g') return false;

  std::size_t i = 1;
  int number = 0;
  for (; is_digit(at(i)); ++i) number = std::min(number * 10 + (at(i) - '0'), 1000);
  if (i == 1)
    return !(at(1) >= 'A' && at(1) <= 'z' && at(1) != '\\' && at(1) != '[') ||
           is_quantifier(at(2));  // a word such as GO_HOME is no move
  return number <= 3 || is_quantifier(at(i));
}

constexpr std::string_view kProbes[] = {
    "G1 X10.123 Y20.5 E0.01", "G0 X1 Y2 F9000", "G1 Z0.2",      "g1x1y2e3", "G01 X1",
    "G2 X1 Y1 I1 J1 E.1",     "G3 X1 Y1 R5",    "G1 X1 ; move", "  G1 X1",  "N10 G1 X1 Y1*55",
};

}  // namespace

struct Recogniser::Impl {
  struct Pattern {
    std::unique_ptr<RE2> re;
    std::string text;
    Groups groups;
    std::optional<Recognise::As> as;  // none: a duration, or a rest
    std::optional<double> seconds;    // of a duration
    std::optional<int> tool = {};     // where the line has none
  };

  // Recognised ones first, then durations, then rests, each in file order.
  std::vector<Pattern> patterns;
  std::unique_ptr<RE2::Set> set;  // none where it would have outgrown its budget
  bool moves = false;

  Status add(const std::string& match, std::optional<Recognise::As> as,
             std::optional<double> seconds, std::optional<int> tool = {}) {
    Pattern p{compile(match), match, {}, as, seconds, tool};
    if (const auto why = why_unusable(*p.re, kGroups)) return Error{Error::Kind::rules, *why};
    p.groups = groups_of(*p.re);
    patterns.push_back(std::move(p));
    return success();
  }

  void build_set() {
    auto candidate = std::make_unique<RE2::Set>(pattern_options(kSetMemory), RE2::UNANCHORED);
    for (const Pattern& p : patterns) {
      if (candidate->Add(piece(p.text), nullptr) < 0) return;
    }
    if (candidate->Compile()) set = std::move(candidate);
  }

  // Calls `take(pattern)` for each that matches, in order.
  template <class Take>
  void each_match(std::string_view line, Take take) const {
    if (patterns.empty()) return;
    if (set) {
      // Most lines match nothing; asking that first needs no memory.
      RE2::Set::ErrorInfo info{};
      const bool some = set->Match(piece(line), nullptr, &info);
      if (!some && info.kind == RE2::Set::kNoError) return;
      std::vector<int> hits;
      if (some && set->Match(piece(line), &hits, &info)) {
        std::sort(hits.begin(), hits.end());
        for (const int hit : hits) take(patterns[static_cast<std::size_t>(hit)]);
        return;
      }
    }
    // No set, or it ran out of memory on this line: the same answer, one pattern at a time.
    for (const Pattern& p : patterns) {
      if (RE2::PartialMatch(piece(line), *p.re)) take(p);
    }
  }

  // What a recognising pattern that matches `line` says; nothing where its numbers are none.
  static std::optional<Recognised> read(const Pattern& p, std::string_view line) {
    Recognised out;
    out.as = *p.as;
    if (out.as != Recognise::As::change && out.as != Recognise::As::set &&
        out.as != Recognise::As::wait) {
      return out;
    }
    std::vector<re2::StringPiece> captured(
        static_cast<std::size_t>(p.re->NumberOfCapturingGroups()) + 1);
    if (!p.re->Match(piece(line), 0, line.size(), RE2::UNANCHORED, captured.data(),
                     static_cast<int>(captured.size()))) {
      return std::nullopt;
    }
    const auto text = [&](int g) -> std::optional<std::string_view> {
      if (g == 0) return std::nullopt;
      const re2::StringPiece& c = captured[static_cast<std::size_t>(g)];
      if (c.data() == nullptr) return std::nullopt;  // an optional group that took no part
      return std::string_view(c.data(), c.size());
    };
    if (const auto tool = text(p.groups.tool)) {
      out.tool = index_from(*tool);
      if (!out.tool) return std::nullopt;
      out.tool_at = static_cast<std::size_t>(tool->data() - line.data());
      out.tool_length = tool->size();
    } else {
      out.tool = p.tool;
    }
    if (const auto heater = text(p.groups.heater)) {
      out.heater = index_from(*heater);
      if (!out.heater) return std::nullopt;
      out.heater_at = static_cast<std::size_t>(heater->data() - line.data());
      out.heater_length = heater->size();
    }
    if (out.as == Recognise::As::change) return out.tool ? std::optional(out) : std::nullopt;

    const auto temp = text(p.groups.temp);
    if (temp) out.temp = temperature_from(*temp);
    if (!out.temp || (!out.tool && !out.heater)) return std::nullopt;
    return out;
  }
};

Recogniser::Recogniser(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
Recogniser::Recogniser(Recogniser&&) noexcept = default;
Recogniser& Recogniser::operator=(Recogniser&&) noexcept = default;
Recogniser::~Recogniser() = default;

Result<Recogniser> Recogniser::make(const std::vector<Recognise>& patterns,
                                    const std::vector<Duration>& durations,
                                    const std::vector<std::string>& rests_at) {
  auto impl = std::make_unique<Impl>();
  for (const Recognise& p : patterns) {
    if (auto added = impl->add(p.match, p.as, std::nullopt, p.tool); !added) return added.error();
  }
  for (const Duration& d : durations) {
    if (auto added = impl->add(d.match, std::nullopt, d.seconds); !added) return added.error();
  }
  for (const std::string& line : rests_at) {
    if (auto added = impl->add(line, std::nullopt, std::nullopt); !added) return added.error();
  }
  if (!impl->patterns.empty()) impl->build_set();

  for (const auto& p : impl->patterns) impl->moves = impl->moves || could_want_moves(p.text);
  for (const std::string_view probe : kProbes) {
    impl->each_match(probe, [&](const auto&) { impl->moves = true; });
  }
  return Recogniser(std::move(impl));
}

Result<Recogniser> Recogniser::make(const Rules& rules) {
  return make(rules.recognise, rules.durations, rules.motion.rests_at);
}

bool Recogniser::empty() const { return impl_->patterns.empty(); }

bool Recogniser::wants_moves() const { return impl_->moves; }

bool Recogniser::match(std::string_view line, std::vector<Recognised>& found,
                       std::optional<double>& seconds, std::vector<std::uint64_t>* hits) const {
  bool timed = false;
  bool rests = false;
  impl_->each_match(line, [&](const Impl::Pattern& p) {
    if (hits != nullptr) {
      hits->resize(impl_->patterns.size());
      ++(*hits)[static_cast<std::size_t>(&p - impl_->patterns.data())];
    }
    if (p.as) {
      if (const auto said = Impl::read(p, line)) found.push_back(*said);
    } else if (!p.seconds) {
      rests = true;
    } else if (!timed) {
      timed = true;
      seconds = p.seconds;
    }
  });
  return rests;
}

std::optional<std::string> why_unusable(const Recognise& pattern, std::size_t* room) {
  const auto re = compile(pattern.match);
  if (auto why = why_unusable(*re, kGroups, room)) return why;
  const Groups groups = groups_of(*re);
  switch (pattern.as) {
    case Recognise::As::change:
      if (groups.tool == 0 && !pattern.tool) {
        return "pattern needs a group (?P<tool>...) to be a change, or a fixed tool beside it";
      }
      break;
    case Recognise::As::set:
    case Recognise::As::wait: {
      const std::string what = pattern.as == Recognise::As::set ? "a set" : "a wait";
      if (groups.temp == 0) return "pattern needs a group (?P<temp>...) to be " + what;
      if (groups.tool == 0 && groups.heater == 0 && !pattern.tool) {
        return "pattern needs a group (?P<heater>...) or (?P<tool>...) to be " + what +
               ", or a fixed tool beside it";
      }
      break;
    }
    case Recognise::As::purge_begin:
    case Recognise::As::purge_end:
    case Recognise::As::layer:
    case Recognise::As::pause:
      break;
  }
  return std::nullopt;
}

std::optional<std::string> why_unusable(const Duration& pattern, std::size_t* room) {
  return why_unusable(*compile(pattern.match), kGroups, room);
}

}  // namespace forewarm::rules
