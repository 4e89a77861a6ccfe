#include "gcode/state.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numbers>
#include <string_view>
#include <system_error>

namespace forewarm::gcode {

namespace {

constexpr double kInch = 25.4;
constexpr double kHighestCode = 99'999;  // of G and M; beyond it no command is meant
constexpr std::array<char, 4> kAxisLetters{'X', 'Y', 'Z', 'E'};
constexpr std::uint32_t bit(char letter) { return 1U << unsigned(letter - 'A'); }
constexpr std::uint32_t kCommandMask = bit('G') | bit('M') | bit('T');
constexpr std::uint32_t kAxisMask = bit('X') | bit('Y') | bit('Z') | bit('E');

// Beyond any machine: what is larger is a slip, and would turn sums into infinities.
constexpr double kFarthestMm = 1e9;
constexpr double kLongestDwellS = 1e9;
constexpr double kFullFan = 255;
bool reachable(double mm) { return std::abs(mm) <= kFarthestMm; }

constexpr int kNoCode = -1;
// Ten times a command's number, as G92.1 is 921; kNoCode if no command has it.
int tenths(double code) {
  if (!(code >= 0 && code <= kHighestCode)) return kNoCode;
  const double tenth = std::round(code * 10);
  return std::abs(code * 10 - tenth) < 1e-6 ? int(tenth) : kNoCode;
}

// position[kE] counts inches by 25.4 of them, whatever the power.
void scale_e(State& s) {
  s.mm_per_e = s.filament_mm2 > 0 ? (s.inches ? kInch * kInch : 1.0) / s.filament_mm2 : 1.0;
}

void volumetric(const Words& w, State& s) {
  constexpr double kThinnestMm = 1e-3;  // as no filament is
  const bool off = w.given('S') && w.value('S') == 0;
  if (!off && w.given('S') && !w.given('D')) return;  // S1: as it was
  const double diameter_mm = !off && w.given('D') ? w.value('D') : 0;
  if (diameter_mm != 0 && !(diameter_mm >= kThinnestMm && diameter_mm <= 1 / kThinnestMm)) return;
  s.filament_mm2 = std::numbers::pi / 4 * diameter_mm * diameter_mm;
  scale_e(s);
}

void move(const Words& w, State& s, Effect& e, int motion, bool machine_coordinates) {
  const double unit = s.inches ? kInch : 1.0;
  std::array<double, 4> delta{};
  for (std::size_t a = 0; a < 4; ++a) {
    if ((w.mask & bit(kAxisLetters[a])) == 0) continue;
    const double given = w.value(kAxisLetters[a]);
    if (std::isnan(given)) continue;
    double to = given * unit;
    if (machine_coordinates && a < 3) {
      to -= s.offset[a];
    } else if (s.relative || (a == kE && s.e_relative)) {
      to += s.position[a];
    }
    if (!reachable(to)) {
      e.trouble = "no machine reaches this far";
      continue;
    }
    delta[a] = to - s.position[a];
    s.position[a] = to;
  }
  const double f = w.has('F') ? w.value('F') : std::nan("");
  if (!std::isnan(f) && f > 0 && !s.inverse_time) s.feed_mm_s = f * unit / 60;
  s.motion = motion;
  delta[kE] *= s.mm_per_e;
  e.delta = delta;
  if (motion >= 2) {
    const auto axes = axes_of(s.plane);
    const double a = delta[std::size_t(axes[0])];
    const double b = delta[std::size_t(axes[1])];
    const double rise = delta[std::size_t(axes[2])];
    constexpr std::array<char, 3> kCentre{'I', 'J', 'K'};
    const char first = kCentre[std::size_t(axes[0])];
    const char second = kCentre[std::size_t(axes[1])];
    if (w.given('R')) {
      e.arc = arc_by_radius(a, b, rise, w.value('R') * unit, motion == 2);
      if (!e.arc) e.trouble = "no arc of this radius joins the two points";
    } else if (w.given(first) || w.given(second)) {
      e.arc = arc_by_centre(a, b, rise, w.value_or(first, 0) * unit, w.value_or(second, 0) * unit,
                            motion == 2);
      if (e.arc->radius_mm == 0) {
        e.arc.reset();
        e.trouble = "an arc needs a centre apart from its start";
      }
    } else {
      e.trouble = "an arc needs I, J or K, or R";
    }
  }
  if (e.arc && !reachable(e.arc->length_mm)) {
    e.arc.reset();
    e.trouble = "no machine reaches this far";
  }
  e.moves = e.arc.has_value() || delta != std::array<double, 4>{};
  e.feed_mm_s = s.feed_mm_s;
  if (s.inverse_time && !std::isnan(f) && f > 0) {
    // F is the inverse of the move's minutes.
    const double length =
        e.arc ? e.arc->length_mm : std::hypot(std::hypot(delta[0], delta[1]), delta[2]);
    e.feed_mm_s = (length > 0 ? length : std::abs(delta[kE])) * f / 60;
  }
}

void offset(const Words& w, State& s) {
  const double unit = s.inches ? kInch : 1.0;
  const bool all = (w.mask & kAxisMask) == 0;
  for (std::size_t a = 0; a < 4; ++a) {
    if (!all && !w.given(kAxisLetters[a])) continue;
    const double value = all ? 0 : w.value(kAxisLetters[a]) * unit;
    if (!reachable(value)) continue;
    s.offset[a] += s.position[a] - value;
    s.position[a] = value;
  }
}

void home(const Words& w, State& s, Effect& e) {
  const std::uint32_t named = w.mask & (bit('X') | bit('Y') | bit('Z'));
  for (std::size_t a = 0; a < 3; ++a) {
    if (named != 0 && !w.has(kAxisLetters[a])) continue;
    s.position[a] = 0;
    s.offset[a] = 0;
  }
  e.homes = e.waits_for_moves = true;
}

double dwell_of(double s) { return s > 0 && s <= kLongestDwellS ? s : 0; }

// The time that M0 or M1 stops for: S in seconds, or P in milliseconds, before any text; 0: none is
// given. Their words are not read, as most have a text for the display.
double stopped_s(const Words& w) {
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  const auto digit = [](char c) { return c >= '0' && c <= '9'; };
  std::string_view rest = w.code;
  const std::size_t m = rest.find_first_of("Mm");
  rest.remove_prefix(m == std::string_view::npos ? rest.size() : m + 1);
  const auto skip = [&rest](const auto& is) {
    while (!rest.empty() && is(rest.front())) rest.remove_prefix(1);
  };
  skip(blank);
  // Behind another command it has none.
  const std::size_t last = rest.find_first_not_of("0123456789");
  const std::string_view number = rest.substr(0, last);
  if (number != "0" && number != "1" && number != "00" && number != "01") return 0;
  skip(digit);
  skip(blank);
  double s = 0;
  while (rest.size() > 1 && digit(rest[1])) {
    const char letter = char(rest[0] | 0x20);
    if (letter != 'p' && letter != 's') break;
    double value = 0;
    const auto read = std::from_chars(rest.data() + 1, rest.data() + rest.size(), value,
                                      std::chars_format::fixed);
    if (read.ec != std::errc()) break;
    rest.remove_prefix(std::size_t(read.ptr - rest.data()));
    if (letter == 's' || s <= 0) s = letter == 's' ? value : value / 1000;
    skip(blank);
  }
  return dwell_of(s);
}

void command_g(int tenth, const Words& w, State& s, Effect& e, int& motion, bool& axes_used) {
  switch (tenth) {
    case 0:
    case 10:
    case 20:
    case 30:
      motion = tenth / 10;
      return;
    case 40:
      e.waits_for_moves = true;
      e.dwell_s = dwell_of(w.given('S') ? w.value('S') : w.value_or('P', 0) / 1000);
      axes_used = true;
      return;
    case 100:
      axes_used = true;
      if (!w.has('P') && !w.has('L')) e.retracts = true;
      return;
    case 110:
      axes_used = true;
      e.unretracts = true;
      return;
    case 170:
      s.plane = Plane::xy;
      return;
    case 180:
      s.plane = Plane::zx;
      return;
    case 190:
      s.plane = Plane::yz;
      return;
    case 200:
      s.inches = true;
      scale_e(s);
      return;
    case 210:
      s.inches = false;
      scale_e(s);
      return;
    case 280:
      home(w, s, e);
      axes_used = true;
      return;
    case 800:
      s.motion = -1;
      return;
    case 900:
      s.relative = s.e_relative_linked = false;
      return;
    case 910:
      s.relative = s.e_relative_linked = true;
      return;
    case 920:
      offset(w, s);
      axes_used = true;
      return;
    case 921:
      for (std::size_t a = 0; a < 4; ++a) s.position[a] += s.offset[a], s.offset[a] = 0;
      axes_used = true;
      return;
    case 930:
      s.inverse_time = true;
      return;
    case 940:
      s.inverse_time = false;
      return;
    case 530:
    // Modes that change nothing we follow, and leave the axis words to the motion beside them:
    // cutter and length compensation off, coordinate systems, path control, return levels.
    case 400:
    case 490:
    case 540:
    case 550:
    case 560:
    case 570:
    case 580:
    case 590:
    case 591:
    case 592:
    case 593:
    case 610:
    case 611:
    case 640:
    case 980:
    case 990:
      return;
    default:  // a command we do not follow owns the axis words on its line
      axes_used = true;
      if (tenth >= 290 && tenth < 400) e.waits_for_moves = true;  // probing, levelling
      return;
  }
}

// What no toolhead serves: a T word that is no tool number.
constexpr int kNoTool = 1'000'000;
bool small_integer(double v) { return v == std::floor(v) && v >= -1 && v <= 65535; }

void command_m(int tenth, const Words& w, State& s, Effect& e) {
  if (tenth % 10 != 0) return;
  const int code = tenth / 10;
  switch (code) {
    case 82:
      s.e_relative = false;
      break;
    case 83:
      s.e_relative = true;
      break;
    case 104:
    case 109:
      e.sets_target = true;
      e.waits_for_target = code == 109;
      if (w.given('S')) {
        e.has_temp = true;
        e.temp_c = w.value('S');
      } else if (w.given('R')) {
        e.has_temp = true;
        e.temp_c = w.value('R');
        e.waits_for_cooling = e.waits_for_target;
      }
      if (w.given('T')) e.target_index = small_integer(w.value('T')) ? int(w.value('T')) : kNoTool;
      if (e.waits_for_target) e.waits_for_moves = true;
      break;
    // RepRap convention, from memory: fan 0 is the part fan, S goes to 255 and is that if left out.
    case 106:
    case 107:
      if (w.value_or('P', 0) != 0) break;
      s.fan = code == 107 ? 0 : std::clamp(w.value_or('S', kFullFan), 0.0, kFullFan);
      break;
    // Pauses: public RepRap wiki, from memory. M0 and M1 with a time, P in milliseconds or S in
    // seconds, go on by themselves after it.
    case 0:
    case 1:
      e.waits_for_moves = true;
      e.dwell_s = stopped_s(w);
      e.pauses = e.dwell_s <= 0;
      break;
    case 25:
    case 226:
    case 600:
      e.waits_for_moves = e.pauses = true;
      break;
    case 190:
    case 191:
    case 400:
      e.waits_for_moves = true;
      break;
    case 200:
      volumetric(w, s);
      break;
    case 201:
    case 203:
    case 204:
    case 205:
    case 207:
    case 220:
    case 221:
    case 566:
      e.limits = true;
      break;
    default:
      break;
  }
}

bool acts_after_modes(int tenth) { return tenth == 280 || tenth / 10 == 92; }

}  // namespace

void apply(const Words& w, State& s, Effect& e) {
  e = Effect{};
  if (w.kind != LineKind::words || w.count == 0) return;

  // The ordinary move: one G word, first on the line.
  if (w.list[0].letter == 'G' && (w.mask & kCommandMask) == bit('G')) {
    const double code = w.list[0].value;
    if ((code == 1 || code == 0) && w.by_letter['G' - 'A'] == code) {
      e.commands = 1;
      move(w, s, e, int(code), false);
      return;
    }
  }

  int motion = -1;
  bool axes_used = false;
  bool machine_coordinates = false;
  bool m6 = false;
  bool mode_of_e = false;
  const char leading = w.list[0].letter;
  // Order on a line does not matter: modes first, then what uses them.
  for (std::size_t i = 0; i < w.count; ++i) {
    const Word& word = w.list[i];
    if (std::isnan(word.value)) continue;
    if (word.letter == 'G') {
      ++e.commands;
      const int code = tenths(word.value);
      if (code == 530) machine_coordinates = true;
      if (acts_after_modes(code)) continue;
      command_g(code, w, s, e, motion, axes_used);
    } else if (word.letter == 'M') {
      ++e.commands;
      const int code = tenths(word.value);
      if (code == 60) m6 = true;
      mode_of_e |= code == 820 || code == 830;
      command_m(code, w, s, e);
    }
  }
  if (mode_of_e) s.e_relative_linked = s.e_relative;
  for (std::size_t i = 0; i < w.count; ++i) {
    const Word& word = w.list[i];
    if (word.letter != 'G') continue;
    const int code = tenths(word.value);
    if (acts_after_modes(code)) command_g(code, w, s, e, motion, axes_used);
  }
  // A T that leads its line selects, and so does one beside M6; elsewhere it is a parameter.
  if (w.given('T') && (leading == 'T' || m6) && small_integer(w.value('T'))) {
    if (!m6) ++e.commands;
    e.selects = true;
    e.waits_for_moves = true;
    e.tool = int(w.value('T'));
    s.tool = e.tool;
  } else if (!axes_used) {
    if (motion < 0 && (w.mask & kCommandMask) == 0 && (w.mask & kAxisMask) != 0 && s.motion >= 0) {
      motion = s.motion;  // axis words alone go on with the motion in force
    }
    if (motion >= 0) move(w, s, e, motion, machine_coordinates);
  }
  if (motion < 0 && e.commands == 0 && w.given('F') && (w.mask & kAxisMask) == 0 &&
      leading == 'F' && w.value('F') > 0 && !s.inverse_time) {
    s.feed_mm_s = w.value('F') * (s.inches ? kInch : 1.0) / 60;
  }
}

}  // namespace forewarm::gcode
