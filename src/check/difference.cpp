#include "check/difference.h"

#include <algorithm>
#include <array>

#include "base/error.h"
#include "check/dialect.h"

namespace forewarm::check {

namespace {

enum Deed : std::uint8_t { kOther, kSelects, kMovesFilament };

Deed deed_of(const InterpretedLine& line) {
  if (line.feeds()) return kMovesFilament;
  return line.selects() ? kSelects : kOther;
}

constexpr std::array<Id, 3> kLost{Id::line_lost, Id::select_lost, Id::move_lost};
constexpr std::array<Id, 3> kAdded{Id::line_added, Id::select_added, Id::move_added};
constexpr std::array<Id, 3> kChanged{Id::line_changed, Id::select_changed, Id::move_changed};

// One target, and nothing else.
bool only_sets_target(const InterpretedLine& line) {
  if (line.seconds) return false;
  if (line.effect.sets_target && line.effect.commands == 1) return true;
  return std::any_of(line.operations.begin(), line.operations.end(), [](const Operation& o) {
    return o.kind == Operation::Kind::set_target && o.by_pattern();
  });
}

}  // namespace

std::string shown(std::string_view text) {
  return "\"" + printable(text.substr(0, 200), 80) + "\"";
}

bool Difference::name(const Step& step, const InterpretedLine& original,
                      const InterpretedLine& rewritten, std::uint64_t line) {
  const bool was = original.acts();
  const bool is = rewritten.acts();
  if (!was && !is) return false;  // comments: only the hash is another
  if (was && is && bare(original.words.code) == bare(rewritten.words.code) &&
      original.recognised.size() == rewritten.recognised.size()) {
    return false;
  }
  const std::string before = shown(step.original.text);
  const std::string after = shown(step.rewritten.text);
  if (was && is && deed_of(original) == deed_of(rewritten)) {
    findings_.add(kChanged[deed_of(original)], line, before + " became " + after);
    return true;
  }
  if (was) lost_or_added(original, true, line, before);
  if (is) lost_or_added(rewritten, false, line, after);
  return true;
}

void Difference::lost_or_added(const InterpretedLine& line, bool lost, std::uint64_t number,
                               const std::string& text) {
  const Deed deed = deed_of(line);
  const std::string_view code = bare(line.words.code);
  if (deed == kMovesFilament) {
    if (const auto same = moves_.take(lost, code)) {
      if (*same < findings_.list().size()) findings_.list()[*same].id = Id::move_reordered;
      return;
    }
  }
  findings_.add(lost ? kLost[deed] : kAdded[deed], number, text);
  if (deed == kMovesFilament) moves_.add(lost, code, findings_.list().size() - 1);
}

void Difference::disabled(const InterpretedLine& original, std::string_view text,
                          std::uint64_t line) {
  if (!original.acts()) {
    findings_.add(Id::mark_damaged, line, "a line that does nothing is disabled");
    return;
  }
  const Deed deed = deed_of(original);
  if (deed == kOther && only_sets_target(original)) return;
  findings_.add(kLost[deed], line, "disabled: " + shown(text));
}

}  // namespace forewarm::check
