#include <array>

#include "rules/sections.h"

namespace forewarm::rules {

namespace {

constexpr std::array<std::string_view, 4> kAxes{"x", "y", "z", "e"};
constexpr Limits kMachineSpeed{0, 1e5, true};
constexpr Limits kAccel{0, 1e7, true};

void range(const Table& t, std::string_view key, Range& into) {
  const toml::node* node = t.find(key);
  if (node == nullptr) return;
  const toml::array* pair = node->as_array();
  if (pair == nullptr || pair->size() != 2) {
    t.findings().add(position_of(*node),
                     std::string(key) + " must be an array of two numbers, lowest and highest");
    return;
  }
  const Limits limits{-1e6, 1e6};
  const auto low = number_in(*pair->get(0), key, limits, t.findings());
  const auto high = number_in(*pair->get(1), key, limits, t.findings());
  if (!low || !high) return;
  if (*low >= *high) {
    t.findings().add(position_of(*node), std::string(key) + " must go from lower to higher, not " +
                                             text_of(*low) + " to " + text_of(*high));
    return;
  }
  into = {*low, *high};
}

void axes(const Table& t, const std::string& key, Limits limits, Axes& into) {
  const auto inner = t.table(key, key, {kAxes.begin(), kAxes.end()});
  if (!inner) return;
  for (std::size_t i = 0; i < kAxes.size(); ++i) inner->number(kAxes[i], limits, into[i]);
}

}  // namespace

void read_machine(const Table& root, Machine& m) {
  const auto t =
      root.table("machine", "[machine]",
                 {"name", "ambient_c", "travel_mm", "purge_area_mm", "heating_limit_w", "bed_w"});
  if (!t) return;
  t->name("name", m.name);
  t->number("ambient_c", {-50, 100}, m.ambient_c);
  t->number("heating_limit_w", kOverZero, m.heating_limit_w);
  t->number("bed_w", kAtLeastZero, m.bed_w);
  if (const auto travel = t->table("travel_mm", "travel_mm", {"x", "y", "z"})) {
    for (std::size_t i = 0; i < m.travel_mm.size(); ++i) range(*travel, kAxes[i], m.travel_mm[i]);
  }
  const auto purge = t->table("purge_area_mm", "purge_area_mm", {"x", "y"});
  if (!purge) return;
  m.purge_area_mm.emplace();
  for (std::size_t i = 0; i < m.purge_area_mm->size(); ++i) {
    // A side left out would make a strip, or the whole bed, of it.
    purge->need(kAxes[i], "such as { x = [0, 30], y = [0, 60] }");
    range(*purge, kAxes[i], (*m.purge_area_mm)[i]);
  }
}

void read_feeder(const Table& root, Feeder& f) {
  const auto t = root.table("feeder", "[feeder]", {"fault_odds"});
  if (t) t->number("fault_odds", {0, 1}, f.fault_odds);
}

void read_motion(const Table& root, Motion& m) {
  const auto t = root.table("motion", "[motion]",
                            {"max_speed_mm_s", "max_accel_mm_s2", "accel_mm_s2", "jerk_mm_s",
                             "junction_deviation_mm", "time_scale"});
  if (!t) return;
  axes(*t, "max_speed_mm_s", kMachineSpeed, m.max_speed_mm_s);
  axes(*t, "max_accel_mm_s2", kAccel, m.max_accel_mm_s2);
  t->number("accel_mm_s2", kAccel, m.accel_mm_s2);
  axes(*t, "jerk_mm_s", {0, 1e5}, m.jerk_mm_s);
  t->number("junction_deviation_mm", {0, 10, true}, m.junction_deviation_mm);
  t->number("time_scale", {0.1, 10}, m.time_scale);
  if (t->has("jerk_mm_s") && t->has("junction_deviation_mm")) {
    const Position a = t->at_key("jerk_mm_s"), b = t->at_key("junction_deviation_mm");
    const bool a_first = std::pair(a.line, a.column) < std::pair(b.line, b.column);
    t->findings().add(a_first ? b : a, "jerk_mm_s and junction_deviation_mm exclude each other",
                      "keep the one that the machine's firmware uses");
  }
}

}  // namespace forewarm::rules
