// Many moves side by side against each by itself, to the bit: however many lanes this processor
// has, what comes out must not show it. The reference is the formulas of move_timer.h written down
// for one move, without a column.
#include "motion/lanes.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

#include "motion_test_help.h"

using namespace forewarm;
using motion::kLanes;

namespace {

struct One {
  std::array<double, 4> delta{};
  double square = 0, feed = 0, accel_asked = 0;
};

struct Bound {
  std::array<double, 4> unit{};
  double length = 0, cruise = 0, accel = 0, safe = 0, gain2 = 0, entry_most2 = 0;
};

double inverse(double limit) { return std::min(1 / limit, 1e18); }

Bound alone(const One& m, const motion::Limits& l) {
  Bound b;
  b.length = std::sqrt(m.square);
  const double per_mm = 1 / b.length;
  double of_speed = 0;
  double of_accel = 0;
  double of_jerk = 1e-9;
  for (std::size_t a = 0; a < 4; ++a) {
    b.unit[a] = m.delta[a] * per_mm;
    of_speed = std::max(of_speed, std::abs(b.unit[a]) * inverse(l.max_speed[a]));
    of_accel = std::max(of_accel, std::abs(b.unit[a]) * inverse(l.max_accel[a]));
    of_jerk = std::max(of_jerk, std::abs(b.unit[a]) * inverse(l.jerk[a]));
  }
  b.cruise = std::max(m.feed * of_speed > 1 ? 1 / of_speed : m.feed, 1e-3);
  b.accel = m.accel_asked * of_accel > 1 ? 1 / of_accel : m.accel_asked;
  b.safe = l.junction_deviation > 0 || l.right_angle > 0 ? 0 : std::min(1 / of_jerk, b.cruise);
  b.gain2 = 2 * b.accel * b.length;
  return b;
}

double corner(const Bound& from, const Bound& to, const motion::Limits& l) {
  const double speed = std::min(from.cruise, to.cruise);
  if (l.junction_deviation > 0 || l.right_angle > 0) {
    const auto& u = from.unit;
    const auto& v = to.unit;
    const auto still = [](const std::array<double, 4>& w) {
      return w[0] == 0 && w[1] == 0 && w[2] == 0;
    };
    if (still(u) || still(v)) return 0;
    const double along = u[0] * v[0] + u[1] * v[1] + u[2] * v[2];
    if (along <= -1 + 1e-9) return 0;
    const double s = std::sqrt(std::max(0.0, 0.5 * (1 + along)));
    if (s >= 1 - 1e-12) return speed;
    const double accel = std::min(from.accel, to.accel);
    const double pull = l.right_angle > 0
                            ? l.right_angle * l.right_angle * (std::numbers::sqrt2 - 1)
                            : accel * l.junction_deviation;
    return std::min(speed, std::sqrt(pull * s / (1 - s)));
  }
  double most = 1e-9;
  for (std::size_t a = 0; a < 4; ++a) {
    const double turned = std::max(std::abs(from.unit[a]), std::abs(to.unit[a]));
    const double step = std::min(std::abs(from.unit[a] - to.unit[a]), turned);
    most = std::max(most, step * inverse(l.jerk[a]));
  }
  return std::max(std::min(speed, 1 / most), std::min({from.safe, to.safe, speed}));
}

std::string bits(std::initializer_list<double> values) {
  std::string out;
  for (const double v : values) out += std::to_string(std::bit_cast<std::uint64_t>(v)) + ' ';
  return out;
}

One dice_move(Dice& dice, const motion::Rates& rates) {
  One m;
  const double size = std::pow(10, dice.between(-4, 2.5));
  auto kind = motion::Rates::kFilamentAlone;
  if (dice.chance(0.9)) {
    for (std::size_t a = 0; a < 3; ++a) {
      if (dice.chance(a == 2 ? 0.1 : 0.9)) m.delta[a] = dice.between(-size, size);
    }
  }
  if (dice.chance(0.7)) m.delta[3] = dice.between(-0.2, 1) * size * 0.05;
  m.square = m.delta[0] * m.delta[0] + m.delta[1] * m.delta[1] + m.delta[2] * m.delta[2];
  if (m.square > 0) {
    kind = m.delta[3] > 0 ? motion::Rates::kPrints : motion::Rates::kTravels;
  } else {
    if (m.delta[3] == 0) m.delta[3] = -0.8;
    m.square = m.delta[3] * m.delta[3];
  }
  m.feed = dice.between(0, 400);
  m.accel_asked = rates.accel[kind];
  return m;
}

motion::Limits dice_limits(Dice& dice) {
  motion::Limits l = plain(dice.between(100, 8000));
  for (std::size_t a = 0; a < 4; ++a) {
    l.max_speed[a] = dice.between(5, 400);
    l.max_accel[a] = dice.between(50, 9000);
    l.jerk[a] = dice.chance(0.1) ? 0 : dice.between(0.1, 20);
  }
  l.accel_travel = dice.between(100, 8000);
  l.accel_retract = dice.between(100, 8000);
  return l;
}

}  // namespace

TEST_CASE("what bounds a move is the same in any lane, to the bit") {
  Dice dice(31);
  for (int run = 0; run < 300; ++run) {
    motion::Limits limits = dice_limits(dice);
    if (run % 5 == 0) limits.right_angle = dice.between(0.5, 20);
    if (run % 3 == 0) limits.junction_deviation = dice.between(0.001, 0.1);
    const auto rates = motion::Rates::of(limits);
    auto lanes = std::make_unique<motion::Lanes>();
    Bound last;
    bool begins = true;
    std::string got;
    std::string want;
    for (int batch = 0; batch < 4; ++batch) {
      const auto count = std::size_t(dice.between(1, double(kLanes) + 0.99));
      std::vector<One> moves;
      for (std::size_t i = 0; i < count; ++i) {
        moves.push_back(dice_move(dice, rates));
        for (std::size_t a = 0; a < 4; ++a) lanes->delta[a][i] = moves[i].delta[a];
        lanes->square[i] = moves[i].square;
        lanes->feed[i] = moves[i].feed;
        lanes->accel_asked[i] = moves[i].accel_asked;
      }
      const bool first = begins;
      motion::bound(*lanes, count, rates, begins);
      begins = false;
      for (std::size_t i = 0; i < count; ++i) {
        const Bound b = alone(moves[i], limits);
        const double v = first && i == 0 ? b.safe : corner(last, b, limits);
        want += bits({b.length, b.cruise, b.accel, b.gain2, v * v});
        got += bits({lanes->length[i], lanes->cruise[i + 1], lanes->accel[i + 1], lanes->gain2[i],
                     lanes->entry_most2[i]});
        last = b;
      }
    }
    REQUIRE(got == want);
  }
}

TEST_CASE("seconds are the same in any lane, to the bit") {
  Dice dice(32);
  for (int run = 0; run < 300; ++run) {
    const auto count = std::size_t(dice.between(1, 300));
    std::array<std::vector<double>, 6> c;
    std::string want;
    for (std::size_t i = 0; i < count; ++i) {
      const double a = dice.between(50, 9000);
      const double d = dice.chance(0.05) ? 0 : std::pow(10, dice.between(-4, 2.5));
      const double v = dice.between(0.1, 400);
      const double v0 = dice.chance(0.2) ? 0 : dice.between(0, v);
      const double most = std::min(v, std::sqrt(v0 * v0 + 2 * a * d));
      const double least = std::sqrt(std::max(0.0, v0 * v0 - 2 * a * d));
      const double v1 = dice.between(std::min(least, most), most);
      const std::array<double, 6> row{d, a, v, 2 * a * d, v0 * v0, v1 * v1};
      for (std::size_t k = 0; k < row.size(); ++k) c[k].push_back(row[k]);
      // By the squares, as the columns have them.
      const double one = motion::profile_seconds(d, std::sqrt(v0 * v0), std::sqrt(v1 * v1), v, a);
      want += bits({d > 0 ? one : 0});
    }
    std::vector<double> seconds(count, -1);
    motion::seconds_of(
        {c[0].data(), c[1].data(), c[2].data(), c[3].data(), c[4].data(), c[5].data()}, count,
        seconds.data());
    std::string got;
    for (const double s : seconds) got += bits({s});
    REQUIRE(got == want);
  }
}
