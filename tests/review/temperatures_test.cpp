#include "review/temperatures.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

using namespace forewarm;
using review::Temperatures;

namespace {

// Two toolheads; the record's heater 0 is the second one, its heater 1 is of none.
Temperatures begun() {
  Temperatures out(2);
  out.part(0, 1);
  out.heater({.name = "cedar", .head = 1});
  out.heater({.name = "bed"});
  return out;
}

void say(Temperatures& to, double time_s, double temp_c, std::size_t heater = 0) {
  to.sample({.time_s = time_s, .heater = heater, .temp_c = temp_c});
}

std::string shown(const Temperatures& t, std::size_t head) {
  std::string out;
  for (const auto& r : t.of(head)) {
    out += std::to_string(int(r.time_s)) + "s:" + std::to_string(int(r.temp_c)) + ' ';
  }
  return out;
}

}  // namespace

TEST_CASE("temperatures: each reading of a slow record stands") {
  Temperatures t = begun();
  say(t, 0, 20);
  say(t, 2, 25);
  say(t, 2.5, 60, 1);  // of no toolhead
  say(t, 4, 23);
  CHECK(shown(t, 1) == "0s:20 2s:25 4s:23 ");
  CHECK(shown(t, 0).empty());
  CHECK(t.readings(1) == 3);
  CHECK(t.readings(0) == 0);
}

TEST_CASE("temperatures: of those in one second, the lowest and the highest, in their order") {
  Temperatures t = begun();
  for (const double temp_c : {20.0, 24.0, 21.0, 19.0, 20.0}) {
    say(t, 7 + 0.1 * double(t.readings(1)), temp_c);
  }
  const auto readings = t.of(1);
  REQUIRE(readings.size() == 2);
  CHECK(readings[0].temp_c == 24);
  CHECK(readings[0].time_s == Approx(7.1));
  CHECK(readings[1].temp_c == 19);
  CHECK(readings[1].time_s == Approx(7.3));
}

TEST_CASE("temperatures: a part's readings are not put together with another's") {
  Temperatures t = begun();
  say(t, 5, 100);
  t.part(5, 40);
  say(t, 5, 20);
  const auto readings = t.of(1);
  REQUIRE(readings.size() == 2);
  CHECK(readings[0].part == 1);
  CHECK(readings[1].part == 2);
}

TEST_CASE("temperatures: a long record takes no more memory, and keeps its extremes") {
  Temperatures t = begun();
  constexpr int kReadings = 300000;
  for (int i = 0; i < kReadings; ++i) {
    const double temp_c = i == 123456 ? 280 : i == 234567 ? 3 : 200 + std::sin(i * 0.3);
    say(t, 0.7 * i, temp_c);
  }
  const auto readings = t.of(1);
  CHECK(t.readings(1) == kReadings);
  CHECK(readings.size() <= 2 * Temperatures::kMostStretches);
  CHECK(readings.size() > Temperatures::kMostStretches / 2);
  CHECK(std::is_sorted(readings.begin(), readings.end(),
                       [](const auto& a, const auto& b) { return a.time_s < b.time_s; }));
  const auto [low, high] =
      std::minmax_element(readings.begin(), readings.end(),
                          [](const auto& a, const auto& b) { return a.temp_c < b.temp_c; });
  CHECK(low->temp_c == 3);
  CHECK(low->time_s == 0.7 * 234567);
  CHECK(high->temp_c == 280);
  CHECK(high->time_s == 0.7 * 123456);
}

TEST_CASE("temperatures: parts without end take no more memory") {
  Temperatures t = begun();
  for (int i = 0; i < 20000; ++i) {
    t.part(0, 1);
    say(t, 0, i);
  }
  CHECK(t.of(1).size() <= Temperatures::kMostStretches);
}
