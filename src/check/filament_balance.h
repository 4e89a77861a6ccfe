// How far inserted lines have moved filament that the job does not know of.
//
// What they have pulled back has to be forward again before the job feeds; but an exchange takes
// the filament away, and what comes may be charged. In mm.
#pragma once

#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "check/heads.h"

namespace forewarm::check {

class FilamentBalance {
 public:
  void move(double mm) { moved_mm_ += mm; }
  void select(const Selected& selected) {
    if (selected.from != kNone && selected.from != selected.to) {
      retracted_mm(selected.from) += std::exchange(moved_mm_, 0);
    }
    if (selected.to == kNone) return;
    if (selected.from != selected.to) moved_mm_ = std::exchange(retracted_mm(selected.to), 0);
    exchanged_ = selected.exchange;
    if (exchanged_) moved_mm_ = 0;
  }
  // Since the last exchange the job has not fed.
  [[nodiscard]] bool exchanged() const { return exchanged_; }
  // The job feeds: what is out of balance then, if anything.
  [[nodiscard]] std::optional<double> settle() {
    if (moved_mm_ == 0) return std::nullopt;
    constexpr double kSameMm = 1e-6;
    const bool good = exchanged_ ? moved_mm_ > -kSameMm : std::abs(moved_mm_) <= kSameMm;
    exchanged_ = false;
    const double mm = std::exchange(moved_mm_, 0);
    return good ? std::nullopt : std::optional(mm);
  }

 private:
  double& retracted_mm(std::size_t head) {
    if (retracted_mm_.size() <= head) retracted_mm_.resize(head + 1, 0);
    return retracted_mm_[head];
  }
  double moved_mm_ = 0;  // of the mounted toolhead
  bool exchanged_ = false;
  std::vector<double> retracted_mm_;  // by toolhead, while it is parked
};

}  // namespace forewarm::check
