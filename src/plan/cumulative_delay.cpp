#include "plan/cumulative_delay.h"

#include <algorithm>
#include <cmath>

namespace forewarm::plan {

void CumulativeDelay::add(std::uint64_t offset, Slot slot, double seconds) {
  if (seconds == 0) return;
  const std::uint64_t key = kSlots * offset + std::uint64_t(slot);
  const double sum = total() + seconds;
  if (!keys_.empty() && keys_.back() == key) {
    sums_.back() = sum;
  } else {
    keys_.push_back(key);
    sums_.push_back(sum);
  }
}

double CumulativeDelay::sum_before(std::uint64_t key) const {
  const auto at = std::lower_bound(keys_.begin(), keys_.end(), key);
  return at == keys_.begin() ? 0 : sums_[std::size_t(at - keys_.begin()) - 1];
}

bool CumulativeDelay::near(const CumulativeDelay& other, double seconds) const {
  const auto close = [seconds](const CumulativeDelay& a, const CumulativeDelay& b) {
    for (const std::uint64_t key : a.keys_) {
      if (std::abs(a.sum_before(key + 1) - b.sum_before(key + 1)) > seconds) return false;
    }
    return true;
  };
  return close(*this, other) && close(other, *this);
}

CumulativeDelay::Changes CumulativeDelay::changes_from(const CumulativeDelay& other) const {
  Changes out;
  const auto own = [](const CumulativeDelay& w, std::size_t i) {
    return w.sums_[i] - (i > 0 ? w.sums_[i - 1] : 0);
  };
  std::size_t a = 0;
  std::size_t b = 0;
  while (a < keys_.size() || b < other.keys_.size()) {
    const std::uint64_t at = a < keys_.size() ? keys_[a] : UINT64_MAX;
    const std::uint64_t at_other = b < other.keys_.size() ? other.keys_[b] : UINT64_MAX;
    const double seconds = at <= at_other ? own(*this, a++) : 0;
    const double seconds_other = at_other <= at ? own(other, b++) : 0;
    constexpr double kRoundingOfSumsS = 1e-9;
    if (std::abs(seconds - seconds_other) > kRoundingOfSumsS) {
      out.offsets_.push_back(std::min(at, at_other) / kSlots);
    }
  }
  return out;
}

bool CumulativeDelay::Changes::within(std::uint64_t first_offset, std::uint64_t last_offset) const {
  const auto at = std::lower_bound(offsets_.begin(), offsets_.end(), first_offset);
  return at != offsets_.end() && *at <= last_offset;
}

}  // namespace forewarm::plan
