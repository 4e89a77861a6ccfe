#include "heater.h"

#include <algorithm>
#include <cmath>

namespace simulated {

Heater::Heater(const HeaterKind& kind, double ambient_c, double beat_s, Chance noise, Chance climbs)
    : kind_(kind), ambient_c_(ambient_c), beat_s_(beat_s), noise_(noise), climbs_(climbs) {
  if (kind_.cool_time_constant_s <= 0) kind_.cool_time_constant_s = kind_.time_constant_s;
  left_driven_ = std::exp(-beat_s / kind_.time_constant_s);
  left_undriven_ = std::exp(-beat_s / kind_.cool_time_constant_s);
  left_sensor_ = kind_.sensor_lag_s > 0 ? std::exp(-beat_s / kind_.sensor_lag_s) : 0;
  on_the_way_.assign(std::size_t(std::lround(kind_.dead_time_s / beat_s)), 0);
  put_at(ambient_c);
}

void Heater::put_at(double temperature_c) {
  block_c_ = sensor_c_ = temperature_c;
  read();
}

void Heater::read() {
  read_c_ = sensor_c_ + kind_.noise_c * noise_.normal();
  if (kind_.step_c > 0) read_c_ = std::round(read_c_ / kind_.step_c) * kind_.step_c;
}

void Heater::set_target(double target_c) {
  if (target_c != target_c_) integral_ = 0;
  if (target_c > target_c_) {
    strength_ = 1 + kind_.drive_sd * std::clamp(climbs_.normal(), -4.0, 4.0);
  }
  target_c_ = target_c;
}

double Heater::hold_drive(double at_c) const {
  return std::clamp((at_c - ambient_c_) / (kind_.full_drive_c - ambient_c_), 0.0, 1.0);
}

void Heater::beat() {
  if (target_c_ <= ambient_c_) return beat_driven(0);
  const double missing = target_c_ - read_c_;
  // What holds it is taken to be known, a weaker drive too: else every wait would be for the
  // integral.
  const double holds = kind_.hold_factor * hold_drive(target_c_) / strength_;
  const double wanted = holds + kind_.gain_per_c * missing + integral_;
  if (wanted > 0 && wanted < 1) {
    integral_ = std::clamp(integral_ + kind_.gain_per_c * missing * beat_s_ / kind_.integral_s,
                           -kind_.integral_limit, kind_.integral_limit);
  }
  beat_driven(std::clamp(wanted, 0.0, 1.0));
}

void Heater::beat_driven(double drive) {
  drive_ = drive;
  double acting = drive;
  if (!on_the_way_.empty()) {
    std::swap(acting, on_the_way_[oldest_]);
    oldest_ = (oldest_ + 1) % on_the_way_.size();
  }
  const bool undriven = acting <= 0;
  const double tau = undriven ? kind_.cool_time_constant_s : kind_.time_constant_s;
  const double left = undriven ? left_undriven_ : left_driven_;
  const double end_c = ambient_c_ + acting * strength_ * (kind_.full_drive_c - ambient_c_);
  const double from_end_c = block_c_ - end_c;
  // The block's rest falls by `left`; of it the sensor follows so much, and its own rest falls
  // faster.
  const double follows = from_end_c * tau / (tau - kind_.sensor_lag_s);
  sensor_c_ = end_c + follows * left + (sensor_c_ - end_c - follows) * left_sensor_;
  block_c_ = end_c + from_end_c * left;
  read();
}

}  // namespace simulated
