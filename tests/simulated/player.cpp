#include "player.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace simulated {
namespace {

constexpr const char* kAxes = "XYZE";

}  // namespace

void Feeds::take(double sensor_c, double wanted_c) {
  coldest_c = std::min(coldest_c, sensor_c);
  cold_by_c = std::max(cold_by_c, wanted_c - sensor_c);
}

Player::Player(const Description& description, std::uint64_t seed, Record& record)
    : d_(description),
      record_(record),
      queue_(description.motion),
      parks_(seed, "park"),
      picks_(seed, "pick"),
      exchanges_(seed, "exchange"),
      pick_stops_(seed, "stop at a pick"),
      exchange_stops_(seed, "stop at an exchange"),
      paces_(seed, "pace"),
      print_accel_(description.motion.accel_mm_s2),
      travel_accel_(print_accel_),
      retract_accel_(print_accel_) {
  truth_.seed = seed;
  const auto add = [&](const HeaterKind& kind) {
    const std::string name = "heater " + std::to_string(kind.index);
    heaters_.emplace_back(kind, d_.ambient_c, d_.control_s, Chance(seed, name),
                          Chance(seed, name + " climbs"));
  };
  for (const HeaterKind& kind : d_.heaters) add(kind);
  HeaterKind bed = d_.bed.heater;
  bed.index = -1;
  add(bed);
  warm_.resize(heaters_.size());
  draw_pace();
  for (const ToolheadKind& kind : d_.toolheads) {
    Head& head = heads_.emplace_back();
    head.kind = &kind;
    for (std::size_t i = 0; i < d_.heaters.size(); ++i) {
      if (d_.heaters[i].index == kind.heater) head.heater = i;
    }
    truth_.hot_idle_s[kind.name] = truth_.full_drive_s[kind.name] = 0;
  }
}

void Player::report() {
  std::vector<Reading> readings;
  for (std::size_t i = 0; i < heaters_.size(); ++i) {
    const Heater& h = heaters_[i];
    readings.push_back(
        {h.kind().index, h.read_c(), h.target_c(), h.drive(), mounted_ && mounted_->heater == i});
  }
  record_.report(now_s_, readings, waiting_);
}

void Player::beat() {
  ++beats_;
  now_s_ = double(beats_) * d_.control_s;
  for (Heater& heater : heaters_) {
    if (heater.kind().index == -1 && d_.bed.instant) {
      heater.put_at(std::max(heater.target_c(), d_.ambient_c));
    } else {
      heater.beat();
    }
  }
  for (std::size_t i = 0; i < heaters_.size(); ++i) warm_from_s(i);
  for (Head& head : heads_) {
    const Heater& heater = heaters_[head.heater];
    truth_.full_drive_s[head.kind->name] += heater.drive() * d_.control_s;
    if (&head == mounted_ || &head == coming_ || !print_began_) continue;
    const auto above = head.kind->hot_above_c.find(std::to_string(head.last_tool));
    if (above != head.kind->hot_above_c.end() && heater.sensor_c() > above->second) {
      truth_.hot_idle_s[head.kind->name] += d_.control_s;
    }
  }
  if (feeding_) feeding_->take(heaters_[mounted_->heater].sensor_c(), feeding_wanted_c_);
  if (now_s_ >= next_report_s_) {
    report();
    next_report_s_ += d_.report_s;
  }
}

void Player::go_on_to(double at_s) {
  while (double(beats_ + 1) * d_.control_s <= at_s) beat();
  now_s_ = at_s;
}

void Player::dwell(double seconds, const char* cause) {
  truth_.time_by_cause[cause] += seconds;
  go_on_to(now_s_ + seconds);
}

// A job without a select uses the first toolhead, which is in place then.
Player::Head& Player::in_use() { return mounted_ ? *mounted_ : heads_.front(); }

void Player::begin_use(Head& head, int tool) {
  UseTruth use;
  use.toolhead = head.kind->name;
  use.tool = tool;
  use.from_s = now_s_;
  use.wait_s = std::exchange(head.early_wait_s, 0);
  use.late_s = std::exchange(head.early_late_s, 0);
  head.use = truth_.uses.size();
  truth_.uses.push_back(std::move(use));
}

void Player::run_one() {
  double seconds = 0;
  const Move move = queue_.pop(seconds);
  const bool prints = move.travels && move.feed_mm > 0;
  if (prints && !print_began_) {
    print_began_ = true;
    truth_.print_from_s = now_s_;
  }
  if (move.feed_mm != 0) {
    if (!mounted_) {
      mounted_ = &heads_.front();
      begin_use(*mounted_, mounted_->kind->tools.front());
    }
    UseTruth& use = truth_.uses[mounted_->use];
    if (use.first_feed_s < 0) use.first_feed_s = now_s_;
    if (move.feed_mm > 0) {
      use.feeds.take(heaters_[mounted_->heater].sensor_c(), move.wanted_c);
      feeding_ = &use.feeds;
      feeding_wanted_c_ = move.wanted_c;
    }
    waits_since_feed_ = truth_.waits.size();
    if (prints) waits_since_print_ = truth_.waits.size();
    fed_since_exchange_ = true;
  }
  dwell(seconds, "moving");
  feeding_ = nullptr;
  for (const auto& action : move.then) action();
}

void Player::drain() {
  while (!queue_.empty()) run_one();
}

void Player::straight_to(const std::array<double, 4>& to) {
  Move m;
  double squares = 0;
  for (std::size_t axis = 0; axis < 4; ++axis) {
    m.direction[axis] = to[axis] - at_[axis];
    if (axis < 3) squares += m.direction[axis] * m.direction[axis];
  }
  at_ = to;
  m.feed_mm = m.direction[3];
  m.length_mm = std::sqrt(squares);
  m.travels = m.length_mm > 1e-9;
  if (!m.travels) m.length_mm = std::abs(m.feed_mm);
  if (m.length_mm <= 1e-9) return;
  m.speed_mm_s = std::max(0.01, feed_mm_s_ * speed_factor_);
  m.accel_mm_s2 = !m.travels ? retract_accel_ : m.feed_mm > 0 ? print_accel_ : travel_accel_;
  for (std::size_t axis = 0; axis < 4; ++axis) {
    m.direction[axis] /= m.length_mm;
    const double part = std::abs(m.direction[axis]);
    if (part < 1e-12) continue;
    m.speed_mm_s = std::min(m.speed_mm_s, queue_.kind().max_speed_mm_s[axis] / part);
    m.accel_mm_s2 = std::min(m.accel_mm_s2, queue_.kind().max_accel_mm_s2[axis] / part);
  }
  m.wanted_c = in_use().wanted_c;
  while (queue_.full()) run_one();
  queue_.push(std::move(m));
}

void Player::arc_to(const CodeLine& code, const std::array<double, 4>& to, bool clockwise) {
  const std::array<double, 4> from = at_;
  double cx = from[0] + code.value('I', 0.0) * unit_mm_,
         cy = from[1] + code.value('J', 0.0) * unit_mm_;
  if (const auto given = code.value('R')) {
    const double r = *given * unit_mm_, dx = to[0] - from[0], dy = to[1] - from[1];
    const double chord = std::hypot(dx, dy);
    if (chord < 1e-9) return;
    const double height = std::sqrt(std::max(0.0, r * r - chord * chord / 4));
    const double side = (clockwise == (r > 0) ? -1 : 1) * height / chord;
    cx = from[0] + dx / 2 - dy * side;
    cy = from[1] + dy / 2 + dx * side;
  }
  const double radius = std::hypot(from[0] - cx, from[1] - cy);
  const double begin = std::atan2(from[1] - cy, from[0] - cx);
  double sweep = std::atan2(to[1] - cy, to[0] - cx) - begin;
  const double whole = 2 * std::numbers::pi;
  if (clockwise) {
    if (sweep >= -1e-9) sweep -= whole;
  } else if (sweep <= 1e-9) {
    sweep += whole;
  }
  const int chords = std::max(1, int(std::ceil(radius * std::abs(sweep) / d_.motion.arc_chord_mm)));
  for (int i = 1; i <= chords; ++i) {
    const double share = double(i) / chords;
    std::array<double, 4> next = to;
    if (i < chords) {
      next[0] = cx + radius * std::cos(begin + sweep * share);
      next[1] = cy + radius * std::sin(begin + sweep * share);
      for (std::size_t axis : {2U, 3U}) next[axis] = from[axis] + (to[axis] - from[axis]) * share;
    }
    straight_to(next);
  }
}

void Player::move(const CodeLine& code) {
  if (const auto feed = code.value('F'); feed && *feed > 0) feed_mm_s_ = *feed * unit_mm_ / 60;
  std::array<double, 4> to = at_;
  for (std::size_t axis = 0; axis < 4; ++axis) {
    const auto given = code.value(kAxes[axis]);
    if (!given) continue;
    const bool absolute = axis < 3 ? absolute_ : absolute_e_;
    to[axis] = (absolute ? 0 : at_[axis]) + *given * unit_mm_;
  }
  if (code.number >= 2) return arc_to(code, to, code.number == 2);
  straight_to(to);
}

}  // namespace simulated
