// What a unit of drive does to a first-order hotend over the readings of a stretch, and what is
// left of its start; with their derivatives by the two constants. For fit_problem.h.
//
// rise' = (u(t - dead_time) - rise)/tau from 0 at the start; decay = exp(-(t - start)/tau).
// Exact for a drive that is constant between readings, at whatever time they are. REQUIRES: times
// that do not go back; the stretch outlives the walk through it.
#pragma once

#include <cmath>

#include "thermal/fit.h"

namespace forewarm::thermal {

class Response {
 public:
  struct At {
    double rise = 0, decay = 1;
    double rise_by_tau = 0, rise_by_dead = 0, decay_by_tau = 0;
  };

  Response(double tau_s, double dead_s) : tau_s_(tau_s), dead_s_(dead_s) {}

  void begin(const Stretch& stretch) {
    stretch_ = &stretch;
    next_ = change_ = 0;
    drive_ = stretch.drive_before;
    if (!stretch.readings.empty()) {
      now_s_ = start_s_ = stretch.begin_s.value_or(stretch.readings.front().time_s);
    }
    at_ = {};
  }

  // Goes on to the next reading. REQUIRES: there is one.
  const At& advance() {
    const auto& readings = stretch_->readings;
    const double to_s = readings[next_++].time_s;
    bool from_change = false;
    while (change_ < readings.size() && since(change_) + dead_s_ <= to_s) {
      const double at_s = since(change_) + dead_s_;
      const double drive = readings[change_++].drive;
      if (drive == drive_) continue;
      // What was before the start is in the temperature there.
      const bool within = at_s >= now_s_;
      if (within) step(at_s, from_change ? 0 : 1);
      drive_ = drive;
      from_change = within;
    }
    step(to_s, from_change ? -1 : 0);
    const double passed_s = to_s - start_s_;
    at_.decay = std::exp(-passed_s / tau_s_);
    at_.decay_by_tau = at_.decay * passed_s / (tau_s_ * tau_s_);
    return at_;
  }

 private:
  // When the drive of a reading began.
  [[nodiscard]] double since(std::size_t reading) const {
    const double at_s = stretch_->readings[reading].time_s;
    return reading == 0 ? stretch_->drive_since_s.value_or(at_s) : at_s;
  }

  // `by_dead`: how much longer the step is for a dead time longer by one.
  void step(double to_s, double by_dead) {
    const double h = to_s - now_s_;
    now_s_ = to_s;
    if (h <= 0 && by_dead == 0) return;
    const double e = h == last_h_ ? last_e_ : std::exp(-h / tau_s_);
    last_h_ = h;
    last_e_ = e;
    const double short_of = at_.rise - drive_;
    at_.rise_by_tau = at_.rise_by_tau * e + short_of * e * h / (tau_s_ * tau_s_);
    at_.rise_by_dead = at_.rise_by_dead * e - short_of * e / tau_s_ * by_dead;
    at_.rise = drive_ + short_of * e;
  }

  double tau_s_, dead_s_;
  const Stretch* stretch_ = nullptr;
  std::size_t next_ = 0, change_ = 0;
  double start_s_ = 0, now_s_ = 0, drive_ = 0;
  double last_h_ = -1, last_e_ = 1;
  At at_;
};

}  // namespace forewarm::thermal
