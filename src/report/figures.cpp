#include "report/figures.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace forewarm::report {

const std::string_view kCautions =
    "Hot ends burn, and unattended heaters can start fires: keep thermal-runaway protection on and "
    "a smoke alarm near, and do not leave the machine unattended until a job has proven itself. "
    "The machine's manual and local codes come first.";

const std::string_view kBoundNote =
    "Physical bound: of gaps alone, the least waiting and the least hot idle of any plan that "
    "waits no longer. Start code and exchanges may wait besides.";

const std::string_view kNoGaps = "No toolhead is ever parked hot: there is nothing to plan.";

std::array<const plan::Plan*, 4> plans(const Summary& summary) {
  return {&summary.as_sliced, &summary.timers, &summary.hold, &summary.lookahead};
}

std::string key_of(rules::Policy policy) {
  std::string out = rules::name_of(policy);
  std::replace(out.begin(), out.end(), '-', '_');
  return out;
}

Bound bound(const plan::Plan& plan) {
  Bound out;
  for (const plan::GapPlan& gap : plan.gaps) {
    out.wait_s += gap.least_wait_s;
    out.hot_idle_s += gap.least_hot_idle_s;
  }
  return out;
}

Grams grams(const job::Material& material, const rules::Filament& filament, double stepped_mm) {
  const double g_per_mm =
      filament.area_mm2() * filament.density_g_cm3 / 1000;  // 1000 mm3 to the cm3
  const double by_exchanges_g = material.exchange_purge_mm3 * filament.density_g_cm3 / 1000;
  const double by_steps_g = stepped_mm * g_per_mm;
  return {material.part_mm * g_per_mm, material.purge_mm * g_per_mm + by_exchanges_g + by_steps_g,
          by_exchanges_g, by_steps_g};
}

double stepped_mm(const plan::Plan& plan, int tool) {
  const auto at = plan.step_purge_mm.find(tool);
  return at == plan.step_purge_mm.end() ? 0 : at->second;
}

std::vector<Figure<Causes>> shown_causes(const Causes& causes) {
  std::vector<Figure<Causes>> out(kCauseFigures.begin(), kCauseFigures.end());
  if (causes.guard_s == 0) {
    std::erase_if(out, [](const Figure<Causes>& f) { return f.quantity == &kGuards; });
  }
  return out;
}

Causes time_by_cause(const job::Job& job, const plan::Plan& plan) {
  Causes out;
  out.motion_s = job.motion_s - plan.figures.runs_on_s;
  for (const job::ToolChange& s : job.tool_changes) {
    out.park_pick_s += s.park_s + s.pick_s;
    out.exchange_s += s.exchange_s;
  }
  out.sequence_s = plan.figures.sequence_s;
  out.wait_s = plan.figures.wait_s;
  out.guard_s = plan.figures.guard_s;
  out.other_s = plan.figures.duration_s - out.motion_s - out.park_pick_s - out.exchange_s -
                out.sequence_s - out.wait_s - out.guard_s;
  return out;
}

std::size_t number_of(const plan::Plan& plan, const plan::GapPlan& gap) {
  return std::size_t(&gap - plan.gaps.data()) + 1;
}

std::vector<const plan::GapPlan*> worst(const plan::Plan& plan, std::size_t most) {
  std::vector<const plan::GapPlan*> out;
  for (const plan::GapPlan& gap : plan.gaps) {
    if (gap.wait_s >= kSomeWaitS || gap.hot_idle_s >= kSomeWaitS) out.push_back(&gap);
  }
  // Rounded as shown, so that differences that nobody sees do not decide the order.
  const auto tenths = [](double s) { return std::llround(s * 10); };
  std::stable_sort(out.begin(), out.end(), [&](const plan::GapPlan* a, const plan::GapPlan* b) {
    if (tenths(a->wait_s) != tenths(b->wait_s)) return a->wait_s > b->wait_s;
    return tenths(a->hot_idle_s) > tenths(b->hot_idle_s);
  });
  if (out.size() > most) out.resize(most);
  return out;
}

const std::string& head_name(const Summary& summary, std::size_t head) {
  static const std::string none = "?";
  return head < summary.job.heads.size() ? summary.job.heads[head].name : none;
}

std::string tool_name(int tool, const std::string& filament) {
  const std::string number = fmt::format("T{}", tool);
  return filament.empty() || filament == number ? number : number + ' ' + filament;
}

std::array<ChangeCount, 4> change_counts(const job::Job& job) {
  using Kind = job::ChangeKind;
  std::array<ChangeCount, 4> out;
  std::size_t i = 0;
  for (const Kind kind : {Kind::toolhead, Kind::filament, Kind::both, Kind::redundant}) {
    out[i++] = {job::name_of(kind), job.count(kind)};
  }
  return out;
}

std::string changes_in_words(const job::Job& job) {
  std::string out;
  for (const ChangeCount& c : change_counts(job)) {
    out += fmt::format("{}{} {}", out.empty() ? "" : ", ", c.count, c.kind);
  }
  return out;
}

}  // namespace forewarm::report
