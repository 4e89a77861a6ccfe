#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <set>
#include <tuple>

#include "rules/sections.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

// A sum of feeds as small as this counts as 0: no machine can tell.
constexpr double kNothingMm = 1e-6;

// The strictest demands on the temperatures and feeds of a sequence, of all that name it.
struct Strictest {
  const Toolhead* coolest = nullptr;                           // of those that get it, by max_c
  const Toolhead* slowest = nullptr;                           // of those with a max_flow_mm3_s
  double diameter_mm = 0;                                      // of filament, at the slowest
  double most_mm_s = std::numeric_limits<double>::infinity();  // of feed, there
};

double area_mm2(double diameter_mm) { return std::numbers::pi / 4 * diameter_mm * diameter_mm; }

// The thickest filament of each toolhead, as its sequences may run with any filament in it.
std::vector<double> thickest_mm(const Rules& rules,
                                const std::vector<std::optional<std::size_t>>& head_of) {
  std::vector<double> out(rules.toolheads.size(), 0.0);
  std::vector<std::set<int>> described(rules.toolheads.size());
  for (std::size_t i = 0; i < head_of.size(); ++i) {
    if (!head_of[i]) continue;
    const Filament& f = rules.filaments[i];
    out[*head_of[i]] = std::max(out[*head_of[i]], f.diameter_mm);
    described[*head_of[i]].insert(f.tool);
  }
  for (std::size_t h = 0; h < out.size(); ++h) {
    const bool all =
        !rules.toolhead_per_tool_seen && described[h].size() == rules.toolheads[h].tools.size();
    if (!all) out[h] = std::max(out[h], Filament().diameter_mm);
  }
  return out;
}

class Demands {
 public:
  Demands(const Rules& rules, const std::vector<std::optional<std::size_t>>& head_of) {
    const auto thickest = thickest_mm(rules, head_of);
    for (std::size_t h = 0; h < rules.toolheads.size(); ++h) {
      const Toolhead& head = rules.toolheads[h];
      for (const auto* name : {&head.before_park, &head.after_pick, &head.at_last_use}) {
        add(*name, head, thickest[h]);
      }
    }
    for (std::size_t i = 0; i < head_of.size(); ++i) {
      if (!head_of[i]) continue;
      const Filament& f = rules.filaments[i];
      const Toolhead& head = rules.toolheads[*head_of[i]];
      // Without exchanges a toolhead never runs the sequences of exchanges.
      const bool exchanged = head.tools.size() > 1;
      add(f.before_exchange, head, f.diameter_mm, exchanged);
      add(f.after_exchange, head, f.diameter_mm, exchanged);
      add(f.at_last_use, head, f.diameter_mm);
    }
  }

  [[nodiscard]] const std::map<std::string, Strictest>& by_sequence() const { return strictest_; }

 private:
  void add(const std::string& sequence, const Toolhead& head, double diameter_mm,
           bool flows = true) {
    if (sequence.empty()) return;
    Strictest& s = strictest_[sequence];
    if (s.coolest == nullptr || head.max_c < s.coolest->max_c) s.coolest = &head;
    if (!flows || !head.max_flow_mm3_s) return;
    const double most_mm_s = *head.max_flow_mm3_s / area_mm2(diameter_mm);
    if (s.slowest != nullptr && most_mm_s >= s.most_mm_s) return;
    s.slowest = &head;
    s.diameter_mm = diameter_mm;
    s.most_mm_s = most_mm_s;
  }

  std::map<std::string, Strictest> strictest_;
};

// Rounded to hundredths so that an excess reads as more, and a limit as no more, than it is.
std::string hundredths_up(double value) { return text_of(std::ceil(value * 100) / 100); }
std::string hundredths_down(double value) { return text_of(std::floor(value * 100) / 100); }

void check_flow(const std::vector<StepPlaces::Feed>& feeds, const Strictest& s,
                Diagnostics& diagnostics) {
  const std::string whose = "max_flow_mm3_s of " + quoted(s.slowest->name) + ", which is " +
                            text_of(*s.slowest->max_flow_mm3_s);
  const bool sayable = s.most_mm_s >= 0.01 && s.most_mm_s < 1e4;
  const std::string at_most =
      sayable ? "at most " + hundredths_down(s.most_mm_s) + " mm/s" : std::string();
  for (const auto& [speed_mm_s, at] : feeds) {
    if (!diagnostics.wanted(at)) continue;
    if (!speed_mm_s) {
      diagnostics.add(at, "without speed_mm_s this may feed faster than " + whose,
                      "give it a speed_mm_s" + (at_most.empty() ? at_most : ", " + at_most));
    } else if (const double flow = area_mm2(s.diameter_mm) * *speed_mm_s;
               flow > *s.slowest->max_flow_mm3_s) {
      diagnostics.add(at,
                      "speed_mm_s = " + text_of(*speed_mm_s) + " pushes " + hundredths_up(flow) +
                          " mm3/s of " + text_of(s.diameter_mm) + " mm filament, more than " +
                          whose,
                      at_most);
    }
  }
}

// "before_park pulls 12 mm back"
std::string moved_text(const char* key, double mm) {
  const double shown = std::round(std::abs(mm) * 1e6) / 1e6;
  if (shown == 0) return std::string(key) + " moves no filament";
  return key + (mm < 0 ? " pulls " + text_of(shown) + " mm back"
                       : " pushes " + text_of(shown) + " mm forward");
}

}  // namespace

std::vector<std::string> too_fast_sequences(const Rules& rules) {
  std::vector<std::optional<std::size_t>> head_of;
  for (const Filament& f : rules.filaments) {
    head_of.push_back(rules.toolhead_per_tool_seen ? 0 : rules.toolhead_of(f.tool));
  }
  std::vector<std::string> out;
  const Demands demands(rules, head_of);
  for (const auto& [name, strictest] : demands.by_sequence()) {
    const Sequence* sequence = rules.sequence(name);
    if (sequence == nullptr || strictest.slowest == nullptr) continue;
    const auto too_fast = [&strictest](const Step& step) {
      const bool pushes = step.action == Step::Action::make_up ||
                          (step.action == Step::Action::feed && step.amount > 0);
      return pushes && !(step.speed_mm_s && area_mm2(strictest.diameter_mm) * *step.speed_mm_s <=
                                                *strictest.slowest->max_flow_mm3_s);
    };
    const auto at = std::find_if(sequence->steps.begin(), sequence->steps.end(), too_fast);
    if (at == sequence->steps.end()) continue;
    out.push_back("the step sequence " + quoted(name) +
                  (at->speed_mm_s
                       ? " pushes " +
                             hundredths_up(area_mm2(strictest.diameter_mm) * *at->speed_mm_s) +
                             " mm3/s, more than "
                       : " has no speed_mm_s, and may feed faster than ") +
                  "max_flow_mm3_s of " + quoted(strictest.slowest->name) + ", which is " +
                  text_of(*strictest.slowest->max_flow_mm3_s));
  }
  return out;
}

void check_max(Position at, const std::string& key, double temp_c, const Toolhead& head,
               Diagnostics& diagnostics) {
  if (temp_c <= head.max_c || !diagnostics.wanted(at)) return;
  diagnostics.add(at, key + " = " + text_of(temp_c) + " is above max_c of " + quoted(head.name) +
                          ", which is " + text_of(head.max_c));
}

// [steps] is read later, so that names are checked then.
template <class S>
void SequenceUses::add_named(const Table<S>& t, const S& from) {
  for (const Key<S>& key : t.section().keys) {
    const auto* text = std::get_if<Text<S>>(&key.value);
    if (text == nullptr || text->rule != TextRule::sequence || !t.was_read(key)) continue;
    const std::string& name = from.*text->field;
    if (!name.empty()) uses_.push_back({name, t.at(key), key.name});
  }
}

void SequenceUses::add(const Table<Toolhead>& t, const Toolhead& from) {
  add_named(t, from);
  heads_.push_back({t.at(&Toolhead::before_park), t.at(&Toolhead::after_pick)});
}

void SequenceUses::add(const Table<Filament>& t, const Filament& from) { add_named(t, from); }

void SequenceUses::check(const Rules& rules, const StepPlaces& steps,
                         const std::vector<std::optional<std::size_t>>& head_of,
                         Diagnostics& diagnostics) const {
  check_names(rules, diagnostics);
  check_make_up(rules, diagnostics);
  const Demands demands(rules, head_of);
  for (const auto& [name, strictest] : demands.by_sequence()) {
    const auto it = steps.temperatures.find(name);
    if (it == steps.temperatures.end()) continue;
    for (const auto& t : it->second) {
      check_max(t.at, "temp_c", t.temp_c, *strictest.coolest, diagnostics);
    }
  }
  // With a wrong number elsewhere, diagnostics of flow and balance would mislead.
  if (diagnostics.any()) return;
  for (const auto& [name, strictest] : demands.by_sequence()) {
    const auto it = steps.feeds.find(name);
    if (it == steps.feeds.end() || strictest.slowest == nullptr) continue;
    check_flow(it->second, strictest, diagnostics);
  }
  check_balance(rules, diagnostics);
}

void SequenceUses::check_names(const Rules& rules, Diagnostics& diagnostics) const {
  std::set<std::string> names;
  for (const Sequence& s : rules.steps) names.insert(s.name);
  const Use* missing = nullptr;  // the first in the file
  for (const Use& use : uses_) {
    if (names.contains(use.sequence)) continue;
    if (missing == nullptr ||
        std::tie(use.at.line, use.at.column) < std::tie(missing->at.line, missing->at.column)) {
      missing = &use;
    }
  }
  if (missing == nullptr || !diagnostics.wanted(missing->at)) return;
  std::vector<std::string> in_order;
  for (const Sequence& s : rules.steps) in_order.push_back(s.name);
  diagnostics.add(missing->at, "there is no sequence " + quoted(missing->sequence) + " in [steps]",
                  suggest(missing->sequence, in_order));
}

// What has oozed is only known, and only missed, when the toolhead is back.
void SequenceUses::check_make_up(const Rules& rules, Diagnostics& diagnostics) const {
  for (const Use& use : uses_) {
    if (use.key.starts_with("after_") || !diagnostics.wanted(use.at)) continue;
    const Sequence* sequence = rules.sequence(use.sequence);
    if (sequence == nullptr || !sequence->makes_up()) continue;
    diagnostics.add(use.at,
                    std::string(use.key) + " names " + quoted(use.sequence) +
                        ", which has make_up_mm_per_min: what oozes is made up for afterwards",
                    "only after_pick and after_exchange may name such a sequence");
  }
}

// Picking pushes forward exactly what parking pulls back.
void SequenceUses::check_balance(const Rules& rules, Diagnostics& diagnostics) const {
  std::map<std::string_view, double> fed_mm;
  for (const Sequence& s : rules.steps) {
    double& sum = fed_mm[s.name];
    for (const Step& step : s.steps) {
      if (step.action == Step::Action::feed) sum += step.amount;
    }
  }
  const auto fed = [&](const std::string& name) { return name.empty() ? 0.0 : fed_mm.at(name); };
  for (std::size_t h = 0; h < heads_.size(); ++h) {
    const Toolhead& head = rules.toolheads[h];
    const double before = fed(head.before_park), after = fed(head.after_pick);
    if (std::abs(before + after) <= kNothingMm) continue;
    if (head.before_park.empty()) {
      diagnostics.add(
          heads_[h].after_pick,
          moved_text("after_pick", after) + ", but without before_park nothing was tucked",
          "after_pick only undoes what before_park did; leave it out, or name both");
    } else if (head.after_pick.empty()) {
      diagnostics.add(heads_[h].before_park,
                      moved_text("before_park", before) + ", and there is no after_pick to undo it",
                      "name an after_pick that feeds as much the other way");
    } else {
      diagnostics.add(heads_[h].after_pick,
                      moved_text("before_park", before) + ", " + moved_text("after_pick", after),
                      "after_pick must feed as much as before_park, the other way");
    }
  }
}

}  // namespace forewarm::rules
