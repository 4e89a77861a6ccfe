#include "check/block.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

namespace forewarm::check {

namespace {

using Action = rules::Step::Action;
constexpr double kSameMm = 1e-6;
bool near(double a, double b) { return std::abs(a - b) <= kSameMm; }

}  // namespace

bool is_followed(const InterpretedLine& line) {
  if (line.words.kind != gcode::LineKind::words) return !line.recognised.empty();
  for (std::size_t i = 0; i < line.words.count; ++i) {
    const gcode::Word& w = line.words.list[i];
    const auto any = [&](std::initializer_list<double> codes) {
      return std::find(codes.begin(), codes.end(), w.value) != codes.end();
    };
    if (w.letter == 'G' && !any({0, 1, 2, 3, 4, 17, 18, 19, 20, 21, 80, 90, 91, 92, 93, 94})) {
      return false;
    }
    if (w.letter == 'M' && !any({82, 83, 104, 106, 107, 109, 221, 400})) return false;
  }
  return true;
}

std::string differences(const gcode::State& is, const gcode::State& was, bool goes_on) {
  std::string what;
  const auto differs = [&](bool does, std::string_view name) {
    if (does) what += (what.empty() ? "" : ", ") + std::string(name);
  };
  constexpr std::array<std::string_view, 4> kAxes{"X", "Y", "Z", "E"};
  for (std::size_t a = 0; a < 4; ++a) {
    differs(!near(is.position[a], was.position[a]), kAxes[a]);
    // What a sequence pulled back the job does not count; feeding is balanced elsewhere.
    if (a == gcode::kE) continue;
    differs(!near(is.offset[a], was.offset[a]), fmt::format("offset of {}", kAxes[a]));
  }
  differs(is.relative != was.relative, "G90/G91");
  differs(is.e_relative != was.e_relative, "M82/M83");
  differs(is.e_relative == was.e_relative && is.e_relative_linked != was.e_relative_linked,
          "M82/M83 where G90 and G91 set it, too");
  differs(is.inches != was.inches, "G20/G21");
  differs(is.filament_mm2 != was.filament_mm2, "M200");
  differs(is.inverse_time != was.inverse_time, "G93/G94");
  differs(is.plane != was.plane, "the plane");
  // No bare G2 or G3 can put an arc back in force; it matters where axis words go on with it.
  differs((was.motion < 2 || goes_on) && is.motion != was.motion, "the kind of motion");
  differs(is.fan != was.fan, "the fan");
  differs(!near(is.feed_mm_s, was.feed_mm_s), "the feed");
  differs(is.tool != was.tool, "the tool");
  return what;
}

bool ends_lifted(const rules::Sequence& sequence, double z, double top_z) {
  double now = z;
  for (const rules::Step& step : sequence.steps) {
    if (step.action == Action::lift) now = std::min(now + step.amount, std::max(now, top_z));
    if (step.action == Action::move) now = step.move_mm[gcode::kZ].value_or(now);
    if (step.action == Action::back) now = z;
  }
  return now > z + kSameMm;
}

bool goes_to(const rules::Sequence& sequence, double z) {
  return std::any_of(sequence.steps.begin(), sequence.steps.end(), [z](const rules::Step& s) {
    return s.action == Action::move && s.move_mm[gcode::kZ] && near(*s.move_mm[gcode::kZ], z) &&
           (s.move_mm[0] || s.move_mm[1]);
  });
}

void Displaced::add(bool lost, std::string_view code, std::size_t finding) {
  moves_.push_back({lost, std::string(code), finding});
  if (moves_.size() > most_) moves_.pop_front();
}

std::optional<std::size_t> Displaced::take(bool lost, std::string_view code) {
  const auto same = std::find_if(moves_.begin(), moves_.end(),
                                 [&](const Move& m) { return m.lost != lost && m.code == code; });
  if (same == moves_.end()) return std::nullopt;
  const std::size_t finding = same->finding;
  moves_.erase(same);
  return finding;
}

}  // namespace forewarm::check
