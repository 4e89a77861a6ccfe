// What each tool's filament comes to, in the part and in the purge, and what each visit takes of
// it.
//
// Purged is what moves between lines that a pattern of the rule file recognises, or from within
// the purge area to within it.
#pragma once

#include <algorithm>
#include <array>
#include <map>
#include <vector>

#include "gcode/state.h"
#include "job/job.h"

namespace forewarm::job {

class Materials {
 public:
  explicit Materials(const rules::Machine& machine) {
    if (machine.purge_area_mm) purge_area_ = &*machine.purge_area_mm;
  }

  void begin_purge() { purging_ = true; }
  void end_purge() { purging_ = false; }
  // `mm` of filament move with a move by `delta` to where `state` is.
  void move(int tool, double mm, const std::array<double, 4>& delta, const gcode::State& state) {
    Material& material = of(tool);
    const bool purged = purging_ || (purge_area_ != nullptr && in_purge_area(delta, state));
    (purged ? material.purge_mm : material.part_mm) += mm;
    visit_.tool = tool;
    visit_.net_mm += mm;
    visit_.most_mm = std::max(visit_.most_mm, visit_.net_mm);
  }
  // A select is done; -1: nothing is mounted.
  void select(int tool) {
    visits_.push_back(visit_);
    visit_ = {.tool = tool};
  }
  // The select exchanges filament, and sends so much of the one that comes in to waste, in mm3 and
  // in mm.
  void exchange(int tool, double purge_mm3, double purge_mm) {
    Material& material = of(tool);
    ++material.exchanges;
    material.exchange_purge_mm3 += purge_mm3;
    visit_.net_mm = visit_.most_mm = purge_mm;
  }
  [[nodiscard]] std::vector<Material> list() const;  // by tool
  [[nodiscard]] std::vector<Visit> visits() const;

 private:
  // Quick where the same tool is asked for again.
  [[nodiscard]] Material& of(int tool) {
    if (last_ == by_tool_.end() || last_->first != tool) {
      last_ = by_tool_.try_emplace(tool).first;
      last_->second.tool = tool;
    }
    return last_->second;
  }
  // As the machine counts. Here, as every move that feeds asks it.
  [[nodiscard]] bool in_purge_area(const std::array<double, 4>& delta,
                                   const gcode::State& state) const {
    constexpr double kSameMm = 1e-6;
    for (std::size_t a = 0; a < purge_area_->size(); ++a) {
      const rules::Range& range = (*purge_area_)[a];
      const double to = state.position[a] + state.offset[a];
      const double from = to - delta[a];
      if (std::min(from, to) < range.low - kSameMm || std::max(from, to) > range.high + kSameMm) {
        return false;
      }
    }
    return true;
  }

  const std::array<rules::Range, 2>* purge_area_ = nullptr;
  bool purging_ = false;
  std::map<int, Material> by_tool_;
  std::map<int, Material>::iterator last_ = by_tool_.end();
  std::vector<Visit> visits_;  // that are over
  Visit visit_;
};

// How many layers there are, and where each begins: as patterns of the rule file recognise them,
// else by height.
class LayerCount {
 public:
  // Of more than that (a spiral, say) nobody asks where each begins.
  static constexpr std::size_t kMostStarts = 20'000;

  void recognise(std::uint64_t offset) { begin(now_.recognised, recognised_at_, offset); }
  void print_at(double z_mm, std::uint64_t offset) {
    if (z_mm <= top_z_mm_ + 1e-6) return;
    top_z_mm_ = z_mm;
    begin(now_.by_height, by_height_at_, offset);
  }
  [[nodiscard]] std::uint64_t count() const { return count_then(now_); }
  // Of the lines that begin them; empty if they are too many.
  [[nodiscard]] const std::vector<std::uint64_t>& starts() const {
    static const std::vector<std::uint64_t> kTooMany;
    if (count() > kMostStarts) return kTooMany;
    return now_.recognised > 0 ? recognised_at_ : by_height_at_;
  }

  struct Moment {
    std::uint64_t recognised = 0, by_height = 0;
  };
  [[nodiscard]] Moment now() const { return now_; }
  // How many there were then. REQUIRES: the job is over.
  [[nodiscard]] std::uint64_t count_then(Moment then) const {
    return now_.recognised > 0 ? then.recognised : then.by_height;
  }

 private:
  static void begin(std::uint64_t& count, std::vector<std::uint64_t>& starts,
                    std::uint64_t offset) {
    if (++count <= kMostStarts) starts.push_back(offset);
  }

  double top_z_mm_ = -1e9;
  Moment now_;
  std::vector<std::uint64_t> recognised_at_, by_height_at_;  // offsets
};

}  // namespace forewarm::job
