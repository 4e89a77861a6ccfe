#include "plan/power_clock.h"

#include <algorithm>

namespace forewarm::plan {

namespace {

constexpr double kRoundingS = 1e-9;

}  // namespace

void GroupClock::add_stop(double given_s, double waited_s) {
  given_s_[stops_] = given_s;
  waited_s_[stops_] = waited_s;
  was_s_[stops_ + 1] = was_s_[stops_] + waited_s;
  ++stops_;
}

void GroupClock::wait(double seconds) {
  wait_s_[known_] = seconds;
  total_s_ += seconds;
  shift_s_[known_ + 1] = shift_s_[known_] + seconds - waited_s_[known_];
  ++known_;
}

void GroupClock::forget_waits() {
  known_ = 0;
  total_s_ = 0;
}

void GroupClock::wait_for_none() {
  forget_waits();
  while (known_ < stops_) wait(0);
}

std::size_t GroupClock::stops_before(double given_s) const {
  std::size_t k = 0;
  while (k < stops_ && given_s_[k] < given_s - kRoundingS) ++k;
  return k;
}

double GroupClock::moved(double given_s, std::size_t stops) const {
  if (stops <= known_) return given_s + shift_s_[stops];
  return given_s + shift_s_[known_] - (was_s_[stops] - was_s_[known_]);
}

double GroupClock::stop_s(std::size_t k) const { return moved(given_s_[k], k); }

// How many waits are over then. A wait of no length is over behind it.
std::size_t GroupClock::passed_at(double wall_s) const {
  std::size_t k = 0;
  while (k < known_) {
    const double begins_s = given_s_[k] + shift_s_[k];
    if (wall_s <= begins_s || wall_s < begins_s + wait_s_[k] - kRoundingS) break;
    ++k;
  }
  return k;
}

double GroupClock::given(double wall_s) const {
  const std::size_t k = passed_at(wall_s);
  const double given_s = wall_s - shift_s_[k];
  return k < stops_ ? std::min(given_s, given_s_[k]) : given_s;
}

double GroupClock::line_at(const ParkedHeater& heater, double wall_s) const {
  std::size_t k = passed_at(wall_s);
  double line_s = heater.line_at(given(wall_s));
  while (k > 0 && line_s < given_s_[k - 1] + waited_s_[k - 1] - kRoundingS) {
    --k;
    line_s = std::min(line_s, given_s_[k]);
  }
  return line_s + shift_s_[k];
}

}  // namespace forewarm::plan
