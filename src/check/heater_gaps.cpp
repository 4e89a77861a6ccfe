// How the gaps of heaters end: what is known of one then, what is judged by it, and what was to be
// made up for.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "check/heaters.h"

namespace forewarm::check {

void Heaters::of_filament(ObservedGap& gap, std::size_t head, int tool) const {
  const rules::Filament f = rules_.filament(tool);
  gap.standby_c = std::min(f.standby_c, heads_[head].max_c);
  gap.max_hot_idle_s = f.max_hot_idle_s;
}

double Heaters::out_c(std::size_t h, double work_c) const {
  return visit_.out_c > heads_[h].hotend.ambient_c ? visit_.out_c : work_c;
}

// What is known of it once it is over.
void Heaters::complete(ObservedGap& gap, std::size_t h, double work_c, int tool) const {
  gap.to_s = std::max(gap.from_s, visit_.at_s);
  gap.exchange = visit_.exchange;
  gap.exchanged_s = visit_.at_s;
  gap.out_c = out_c(h, work_c);
  gap.in_c = visit_.in_c;
  gap.work_c = work_c;
  of_filament(gap, h, visit_.exchange && visit_.out_tool >= 0 ? visit_.out_tool : tool);
}

// How long it was hot in the gap that ends with this visit.
double Heaters::hot_s(std::size_t h, double work_c, int tool) const {
  if (!list_[h].gap) return 0;
  ObservedGap gap = *list_[h].gap;
  complete(gap, h, work_c, tool);
  return hot_while_parked_s(gap);
}

void Heaters::made_up(double at_s, const MadeUp& m) {
  constexpr double kShare = 0.05;
  // What is written is rounded to 0.01 mm, and may be one such step off what is settled at last.
  constexpr double kRoundingMm = 0.02;
  if (!started_) return;
  Head& head = at(m.head);
  advance(head, at_s);
  const int tool = head.tool;
  // As for end_visit(): what was waited for is what it was used at.
  const double visit_c =
      visit_.own_wait ? visit_.own_wait->target_c.value_or(0) : exchanged_c(head);
  const double hot_s = head.hot_s + this->hot_s(m.head, m.work_c.value_or(visit_c), tool);
  double wanted_mm = 0;
  for (const rules::Step& step : m.sequence->steps) {
    if (step.action != rules::Step::Action::make_up) continue;
    wanted_mm += std::min(step.amount * hot_s / 60, step.at_most_mm);
  }
  if (std::abs(m.mm - wanted_mm) <= kShare * wanted_mm + kRoundingMm) return;
  say(Id::make_up_wrong, m.head, m.line,
      fmt::format("{} makes up {:.3g} mm; hot for {:.1f} min while parked, it asks for {:.3g} mm",
                  m.sequence->name, m.mm, hot_s / 60, wanted_mm));
}

void Heaters::close(std::size_t h, double fed_s, double work_c, int tool, std::uint64_t line) {
  Head& head = at(h);
  const GapRules how{heads_[h], h, rules_.gap, lines_, around_, rules_.dialect.wait_window_c};
  if (head.gap) {
    ObservedGap& gap = *head.gap;
    gap.fed_s = fed_s;
    gap.line = line;
    complete(gap, h, work_c, tool);
    judge(gap.pause ? behind_pause(gap) : gap, how, found_);
    head.gap.reset();
  } else if (visit_.mounted) {
    visit_.mounted->work_c = work_c;
    visit_.mounted->out_c = out_c(h, work_c);
    visit_.mounted->in_c = visit_.in_c;
    judge_mounted(*visit_.mounted, how, found_);
    visit_.mounted.reset();
  }
  double oldest = fed_s;
  for (const Head& other : list_) {
    if (other.gap) oldest = std::min(oldest, other.gap->from_s);
  }
  lines_.forget_before(oldest);
  around_.forget_before(oldest);
}

}  // namespace forewarm::check
