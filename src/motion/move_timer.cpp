#include "motion/move_timer.h"

#include <algorithm>
#include <cmath>
#include <initializer_list>

namespace forewarm::motion {

namespace {

double smaller(double a, double b) { return a < b ? a : b; }

}  // namespace

MoveTimer::MoveTimer(const Limits& limits, Listener& listener, double time_scale)
    : limits_(limits), listener_(listener), time_scale_(time_scale) {
  make_room(kBatch);
  for (auto& axis : lanes_.unit) axis[0] = 0;
  lanes_.cruise[0] = lanes_.safe[0] = lanes_.accel[0] = 0;
}

MoveTimer::MoveTimer(const MoveTimer& other, Listener& listener)
    : limits_(other.limits_),
      stale_(other.stale_),
      rates_(other.rates_),
      listener_(listener),
      time_scale_(other.time_scale_),
      now_s_(other.now_s_),
      moving_s_(other.moving_s_),
      taken_(other.taken_),
      entry2_(other.entry2_),
      moving_(other.moving_),
      waiting_(other.waiting_),
      fresh_(other.fresh_),
      settle_at_(other.settle_at_),
      lanes_(other.lanes_),
      length_(other.length_),
      accel_(other.accel_),
      cruise_(other.cruise_),
      gain2_(other.gain2_),
      entry_most2_(other.entry_most2_),
      entry2_of_(other.entry2_of_),
      tag_(other.tag_),
      v0_2_(other.v0_2_),
      v1_2_(other.v1_2_),
      seconds_(other.seconds_) {}

void MoveTimer::make_room(std::size_t moves) {
  settle_at_ = moves;
  if (tag_.size() >= moves) return;
  for (Column* c : {&length_, &accel_, &cruise_, &gain2_, &entry_most2_, &entry2_of_, &v0_2_,
                    &v1_2_, &seconds_}) {
    c->resize(moves);
  }
  tag_.resize(moves);
}

void MoveTimer::derive() {
  rates_ = Rates::of(limits_);
  stale_ = false;
}

// The fresh ones, under the limits that they were given under.
void MoveTimer::take_over() {
  if (fresh_ == 0) return;
  bound(lanes_, fresh_, rates_, !moving_);
  const auto keep = [this](const double* from, Column& to) {
    std::copy_n(from, fresh_, to.begin() + std::ptrdiff_t(waiting_));
  };
  keep(lanes_.length.data(), length_);
  keep(lanes_.accel.data() + 1, accel_);
  keep(lanes_.cruise.data() + 1, cruise_);
  keep(lanes_.gain2.data(), gain2_);
  keep(lanes_.entry_most2.data(), entry_most2_);
  // Moves of no length may wait already: they have no part in where motion begins.
  if (!moving_) entry2_ = lanes_.entry_most2[0];
  moving_ = true;
  waiting_ += fresh_;
  fresh_ = 0;
}

// Nothing to travel, but its place in the order counts: delivered in turn, without time. It gains
// nothing and has no corner.
void MoveTimer::nowhere(std::uint64_t tag) {
  take_over();
  length_[waiting_] = gain2_[waiting_] = 0;
  accel_[waiting_] = cruise_[waiting_] = 1;
  entry_most2_[waiting_] = HUGE_VAL;
  tag_[waiting_++] = tag;
  if (waiting_ >= settle_at_) settle(false);
}

void MoveTimer::settle(bool at_end) {
  take_over();
  if (waiting_ == 0) return;
  // Backwards: how fast each corner may be entered if the path ends where it is known to. Short of
  // the end nothing is known of the corner to come, so rest is assumed: what is certain from there
  // stays certain whatever comes.
  const double safe = moving_ ? lanes_.safe[0] : 0;
  const double exit2 = at_end ? safe * safe : 0;
  double next2 = exit2;
  std::size_t certain = 0;  // moves before the last corner that no later move can make faster
  for (std::size_t i = waiting_; i-- > 0;) {
    const double most2 = entry_most2_[i];
    next2 = entry2_of_[i] = smaller(most2, next2 + gain2_[i]);
    if (certain == 0 && next2 >= most2) certain = i;
  }
  if (at_end) {
    deliver(waiting_, exit2);
  } else if (certain > 0) {
    deliver(certain, entry2_of_[certain]);
  } else if (waiting_ >= kMost) {
    deliver(waiting_ / 2, entry2_of_[waiting_ / 2]);
  }
  make_room(std::min(kMost, waiting_ + kBatch));
}

// Forwards over the first `count` moves: acceleration from the speed before bounds the next entry.
void MoveTimer::deliver(std::size_t count, double exit2) {
  double speed2 = entry2_;
  for (std::size_t i = 0; i < count; ++i) {
    if (length_[i] > 0) {
      speed2 = smaller(entry2_of_[i], speed2);
      v0_2_[i] = speed2;
      const double allowed2 = i + 1 < count ? entry2_of_[i + 1] : exit2;
      speed2 = smaller(smaller(allowed2, cruise_[i] * cruise_[i]), speed2 + gain2_[i]);
    } else {
      v0_2_[i] = speed2;
    }
    v1_2_[i] = speed2;
  }
  entry2_ = speed2;
  seconds_of(
      {length_.data(), accel_.data(), cruise_.data(), gain2_.data(), v0_2_.data(), v1_2_.data()},
      count, seconds_.data());
  out_.resize(count);
  for (std::size_t i = 0; i < count; ++i) {
    const double seconds = seconds_[i] * time_scale_;
    out_[i] = {tag_[i], now_s_, seconds};
    now_s_ += seconds;
    moving_s_ += seconds;
  }
  for (Column* c : {&length_, &accel_, &cruise_, &gain2_, &entry_most2_}) {
    std::copy(c->begin() + std::ptrdiff_t(count), c->begin() + std::ptrdiff_t(waiting_),
              c->begin());
  }
  std::copy(tag_.begin() + std::ptrdiff_t(count), tag_.begin() + std::ptrdiff_t(waiting_),
            tag_.begin());
  waiting_ -= count;
  listener_.timed(out_);
}

void MoveTimer::stop() {
  settle(true);
  moving_ = false;
  entry2_ = 0;
  settle_at_ = kBatch;
}

void MoveTimer::pass(double seconds) {
  stop();
  now_s_ += seconds;
}

}  // namespace forewarm::motion
