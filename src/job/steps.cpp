#include "job/steps.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>
#include <optional>
#include <string_view>
#include <utility>

#include "gcode/words.h"
#include "motion/move_timer.h"

namespace forewarm::job {

namespace {

using gcode::kE;
using gcode::kZ;
using Action = rules::Step::Action;

constexpr double kInch = 25.4;
constexpr double kFullFan = 255;
// What is written is this near to what is meant, in mm; less is not worth a line.
constexpr double kNearMm = 1e-7;
// What is promised of the state that is put back, in mm and in mm/s.
constexpr double kSame = 1e-6;
constexpr double kNearC = 1e-6;

// The shortest decimal within `tolerance` of `value`, without an exponent, which G-code has not.
std::string decimal(double value, double tolerance) {
  constexpr int kMaxDecimals = 340;  // of any double there is; exact long before
  std::string text;
  for (int decimals = 0; decimals <= kMaxDecimals; ++decimals) {
    text = fmt::format("{:.{}f}", value, decimals);
    double read = 0;
    std::from_chars(text.data(), text.data() + text.size(), read, std::chars_format::fixed);
    if (std::abs(read - value) <= tolerance) break;
  }
  return text == "-0" ? "0" : text;
}

// Of an F word. Never 0, which would be none.
std::string feed_word(double per_minute) {
  return decimal(per_minute, std::min(1e-6, per_minute * 1e-8));
}

std::string fan_command(double fan) { return fan == 0 ? "M107" : "M106 S" + decimal(fan, kSame); }

// What a gcode step must not do, as a verb: nothing could put it back. nullptr if it does nothing
// of the kind. Of G commands only the dwell is left.
const char* trouble_with_g(double code) {
  if (code == 4) return nullptr;
  if (code == 10 || code == 11) return "moves filament, or sets an offset";
  if (code == 28) return "homes";
  if (code >= 92 && code < 93) return "sets a position";
  const bool mode = (code >= 17 && code <= 21) || (code >= 40 && code < 100);
  return mode ? "sets a mode" : "moves";
}

const char* trouble_with_m(double code) {
  if (!(code >= 0 && code < 1000 && code == std::floor(code))) return nullptr;
  switch (int(code)) {
    case 6:
      return "selects a tool";
    case 82:
    case 83:
    case 200:
      return "sets a mode";
    case 104:
    case 109:
    case 140:
    case 141:
    case 190:
    case 191:
    case 568:
      return "sets a target";
    case 18:
    case 84:
      return "lets go of the position";
    case 206:
    case 428:
      return "sets a position";
    case 125:
    case 290:
    case 600:
    case 701:
    case 702:
      return "moves";
    default:
      return nullptr;
  }
}

const char* trouble_with(const gcode::Words& words, gcode::State state) {
  if (words.kind == gcode::LineKind::unknown || words.block_deleted) return "cannot be read";
  if (words.numbered || words.has_checksum) return "has a number or a checksum of its own";
  if (words.kind != gcode::LineKind::words) return nullptr;
  for (std::size_t i = 0; i < words.count; ++i) {
    const gcode::Word& word = words.list[i];
    if (std::isnan(word.value)) continue;
    const char* trouble = word.letter == 'G'   ? trouble_with_g(word.value)
                          : word.letter == 'M' ? trouble_with_m(word.value)
                                               : nullptr;
    if (trouble != nullptr) return trouble;
  }
  if (words.list[0].letter == 'T') return "selects a tool";
  gcode::Effect effect;
  gcode::apply(words, state, effect);
  if (effect.limits) return "sets a limit";
  if (effect.commands == 0) return "is no command";
  return nullptr;
}

class Writer final : public motion::MoveTimer::Listener {
 public:
  Writer(const rules::Sequence& sequence, const StepQuestion& question)
      : sequence_(sequence),
        q_(question),
        state_(question.state),
        clock_(question.limits, *this, question.time_scale),
        clear_z_(start(kZ) + kLeastLiftMm),
        target_c_(question.after_c),
        may_be_cold_(question.after_c < question.work_c - kNearC) {}

  Result<StepBlock> run() {
    if (q_.stop_first) emit("M400");
    const auto moves = [](const rules::Step& s) {
      return s.action == Action::feed || s.action == Action::lift || s.action == Action::move ||
             s.action == Action::make_up;
    };
    const auto feeds = [this](const rules::Step& s) { return std::abs(fed_by(s)) > kNearMm; };
    if (std::any_of(sequence_.steps.begin(), sequence_.steps.end(), moves)) modes();
    full_flow_ = q_.limits.flow_factor != 1 &&
                 std::any_of(sequence_.steps.begin(), sequence_.steps.end(), feeds);
    if (full_flow_) emit("M221 S100");
    const std::size_t before = block_.lines.size();
    for (const rules::Step& s : sequence_.steps) {
      if (auto status = step(s); !status) return std::move(status.error());
    }
    if (block_.lines.size() == before) return StepBlock{};  // nothing done, nothing to put back
    target_back();
    if (auto status = back(q_.lift_lasts); !status) return std::move(status.error());
    modes_back();
    return finish();
  }

  Result<StepBlock> lower(double lifted_mm) {
    state_.position[kZ] += lifted_mm;
    modes();
    if (auto status = go_z(start(kZ), std::nullopt); !status) return std::move(status.error());
    modes_back();
    return finish();
  }

  void timed(std::span<const motion::Timed> moves) override {
    for (const motion::Timed& m : moves) block_.lines[m.tag].seconds += m.seconds;
  }

 private:
  using Target = std::array<std::optional<double>, 3>;  // as the machine counts

  Result<StepBlock> finish() {
    clock_.stop();
    if (trouble_ != nullptr) return refused(std::string("cannot be done: ") + trouble_, "");
    if (!came_back()) {
      return Error{Error::Kind::internal, name() + " leaves the job elsewhere than it found it"};
    }
    for (const StepLine& line : block_.lines) block_.seconds += line.seconds;
    return std::move(block_);
  }

  // The modes that moves are written in: absolute, in mm and with a feed, E relative whichever
  // commands set its mode.
  void modes() {
    if (state_.inverse_time) emit("G94");
    if (state_.inches) emit("G21");
    if (state_.relative) distance(false);
    if (!state_.e_relative || !state_.e_relative_linked) emit("M83");
  }
  void distance(bool relative) { emit(relative ? "G91" : "G90"); }

  Status step(const rules::Step& s) {
    switch (s.action) {
      case Action::feed:
        return feed(s, s.amount);
      case Action::make_up:
        return make_up(s);
      case Action::lift:
        return lift(s);
      case Action::back:
        return back(false);
      case Action::move:
        return move(s);
      case Action::dwell:
        emit("G4 P" + decimal(s.amount * 1000, 1e-6));
        return success();
      case Action::temp:
        return set(s.amount);
      case Action::temp_offset:
        return set(std::max(0.0, q_.work_c + s.amount));
      case Action::wait:
        wait();
        return success();
      case Action::fan:
        emit(fan_command(std::round(s.amount * kFullFan)));
        return success();
      case Action::gcode:
        return gcode_line(s);
    }
    return success();
  }

  [[nodiscard]] double fed_by(const rules::Step& s) const {
    if (s.action == Action::make_up) return make_up_mm(s, q_.hot_s);
    return s.action == Action::feed ? s.amount : 0;
  }

  Status make_up(const rules::Step& s) {
    const double mm = make_up_mm(s, q_.hot_s);
    const std::size_t before = block_.lines.size();
    if (auto status = feed(s, mm); !status) return status;
    if (block_.lines.size() == before) return success();
    block_.lines.back().made_up_mm = mm;
    block_.made_up_mm += mm;
    return success();
  }

  Status feed(const rules::Step& s, double mm) {
    if (std::abs(mm) <= kNearMm) return success();
    if (mm > 0 && target_c_ < q_.work_c - kNearC) {
      return refused(fmt::format("feeds filament at {} C, which is worked at {} C",
                                 decimal(target_c_, kNearC), decimal(q_.work_c, kNearC)),
                     "give a temp_c or temp_offset_c before feed_mm, and wait");
    }
    if (mm > 0 && may_be_cold_) {
      return refused(
          fmt::format("feeds filament that may not be at {} C yet", decimal(q_.work_c, kNearC)),
          "add { wait = true } before feed_mm");
    }
    const double feed_mm_s =
        s.speed_mm_s.value_or(std::min(q_.state.feed_mm_s, q_.limits.max_speed[kE]));
    const double mm_per_e = state_.mm_per_e;
    emit("G1 E" + decimal(mm / mm_per_e, kNearMm / mm_per_e) + " F" + feed_word(feed_mm_s * 60));
    return success();
  }

  Status lift(const rules::Step& s) {
    const double high = at(kZ) + s.amount;
    const double top = q_.travel_mm[kZ].high;
    if (auto status = go_z(std::max(at(kZ), std::min(high, top)), s.speed_mm_s); !status) {
      return status;
    }
    // A lift that was cut short is not what was thought to be clear.
    if (high <= top && at(kZ) > start(kZ) + kSame) clear_z_ = std::min(clear_z_, at(kZ));
    return success();
  }

  Status move(const rules::Step& s) {
    // Such a speed is meant for the way there, not for z.
    std::optional<double> z_mm_s = s.speed_mm_s;
    if (z_mm_s) z_mm_s = std::min(*z_mm_s, q_.limits.max_speed[kZ]);
    went_mm_s_ = std::max(went_mm_s_, s.speed_mm_s.value_or(0));
    const std::optional<double> z = s.move_mm[kZ];
    if (z && *z > at(kZ)) {
      if (auto status = go_z(z, z_mm_s); !status) return status;
    }
    if (auto status = travel(s.move_mm[0], s.move_mm[1], s.speed_mm_s); !status) return status;
    return go_z(z, z_mm_s);
  }

  // To where the sequence started, no slower than it went away: the job's own feed may be that of a
  // lift or of an outline.
  Status back(bool lift_lasts) {
    const auto speed = [this](std::size_t axis) {
      return std::max(std::min(went_mm_s_, q_.limits.max_speed[axis]),
                      std::min(q_.state.feed_mm_s, q_.limits.max_speed[axis]));
    };
    if (auto status = travel(start(0), start(1), std::min(speed(0), speed(1))); !status) {
      return status;
    }
    if (lift_lasts && at(kZ) > start(kZ) + kSame) {
      block_.lifted_mm = at(kZ) - start(kZ);
      return success();
    }
    return go_z(start(kZ), speed(kZ));
  }

  // In x and y, where that is any way, above where the sequence started.
  Status travel(std::optional<double> x, std::optional<double> y, std::optional<double> mm_s) {
    if (!is_elsewhere(0, x) && !is_elsewhere(1, y)) return success();
    if (at(kZ) < clear_z_ - kNearMm) {
      const double top = q_.travel_mm[kZ].high;
      if (clear_z_ > top + kNearMm) {
        return refused(fmt::format("has no room to lift the nozzle before it moves in x or y: it "
                                   "started at z = {}, and machine.travel_mm ends at {}",
                                   decimal(start(kZ), kNearMm), decimal(top, kNearMm)),
                       "");
      }
      if (auto status = go_z(clear_z_, std::nullopt); !status) return status;
    }
    return go({x, y, std::nullopt}, mm_s);
  }

  Status go_z(std::optional<double> z, std::optional<double> mm_s) {
    return go({std::nullopt, std::nullopt, z}, mm_s);
  }

  Status go(const Target& to, std::optional<double> mm_s) {
    std::string text = "G1";
    double feed_mm_s = q_.state.feed_mm_s;
    for (std::size_t a = 0; a < to.size(); ++a) {
      if (!is_elsewhere(a, to[a])) continue;
      if (auto status = inside(a, *to[a]); !status) return status;
      text += ' ';
      text += "XYZ"[a];
      text += decimal(*to[a] - state_.offset[a], kNearMm);
      feed_mm_s = std::min(feed_mm_s, q_.limits.max_speed[a]);
    }
    if (text.size() > 2) emit(text + " F" + feed_word(mm_s.value_or(feed_mm_s) * 60));
    return success();
  }

  Status inside(std::size_t axis, double to) const {
    const rules::Range& travel = q_.travel_mm[axis];
    if (to >= travel.low - kSame && to <= travel.high + kSame) return success();
    const bool its_start = std::abs(to - start(axis)) <= kSame;
    return refused(fmt::format("would move {}to {} = {}, outside machine.travel_mm, which is {} "
                               "to {}",
                               its_start ? "back " : "", "xyz"[axis], decimal(to, kNearMm),
                               decimal(travel.low, kNearMm), decimal(travel.high, kNearMm)),
                   its_start ? "the job itself is there; see travel_mm in the rule file" : "");
  }

  Status set(double temp_c) {
    if (temp_c > q_.max_c) {
      return refused(fmt::format("sets a target of {} C, above max_c = {}", decimal(temp_c, kNearC),
                                 decimal(q_.max_c, kNearC)),
                     "");
    }
    if (std::abs(temp_c - target_c_) > kNearC) is_there_ = false;
    target_c_ = temp_c;
    if (temp_c < q_.work_c - kNearC) may_be_cold_ = true;
    block_.lines.push_back({StepLine::Kind::set, {}, temp_c, 0, 0});
    return success();
  }

  void wait() {
    clock_.stop();
    is_there_ = true;
    if (target_c_ >= q_.work_c - kNearC) may_be_cold_ = false;
    block_.lines.push_back({StepLine::Kind::wait, {}, target_c_, 0, 0});
  }

  // Before going back: better to wait where nothing is printed.
  void target_back() {
    const bool differs = std::abs(target_c_ - q_.after_c) > kNearC;
    if (differs) is_there_ = false;
    target_c_ = q_.after_c;
    if (q_.wait_after && !is_there_) {
      wait();
    } else if (differs) {
      block_.lines.push_back({StepLine::Kind::set, {}, target_c_, 0, 0});
    }
  }

  Status gcode_line(const rules::Step& s) {
    gcode::parse(s.gcode, words_);
    if (const char* trouble = trouble_with(words_, state_)) {
      return refused("has the gcode step \"" + printable(s.gcode, 80) + "\", which " + trouble,
                     "a sequence has to leave the job as it was; see its other actions");
    }
    emit(s.gcode);
    clock_.stop();
    // A dwell's own seconds have passed already.
    block_.lines.back().seconds += std::max(0.0, s.seconds - effect_.dwell_s);
    return success();
  }

  // All but the place. Feed comes after units, in which it is, and before G93, where F is no feed.
  void modes_back() {
    const gcode::State& was = q_.state;
    if (state_.fan != was.fan) emit(fan_command(was.fan));
    if (full_flow_) emit("M221 S" + decimal(q_.limits.flow_factor * 100, kSame));
    distance_modes_back();
    if (state_.inches != was.inches) emit("G20");
    const double unit = was.inches ? kInch : 1;
    if (std::abs(state_.position[kE] - was.position[kE]) > kNearMm) {
      emit("G92 E" + decimal(was.position[kE] / unit, kNearMm / unit));
    }
    const bool other_feed = std::abs(state_.feed_mm_s - was.feed_mm_s) > 1e-9 * was.feed_mm_s;
    if (other_feed || (was.motion == 0 && state_.motion != 0)) {
      emit((was.motion == 0 ? "G0 F" : "G1 F") + feed_word(was.feed_mm_s * 60 / unit));
    }
    if (state_.inverse_time != was.inverse_time) emit("G93");
    if (was.motion == -1 && state_.motion != -1) emit("G80");
  }

  // As the job left them for both kinds of firmware: one lets G90 and G91 set the mode of E, the
  // other does not. Where the two differ for the job, G90 or G91 was said last.
  void distance_modes_back() {
    const gcode::State& was = q_.state;
    const auto mode_of_e = [&] { emit(was.e_relative ? "M83" : "M82"); };
    if (was.e_relative_linked != was.e_relative) {
      if (state_.e_relative != was.e_relative) mode_of_e();
      const bool same =
          state_.relative == was.relative && state_.e_relative_linked == was.e_relative_linked;
      if (!same) distance(was.relative);
      return;
    }
    const bool says = state_.relative != was.relative;
    if (says) distance(was.relative);
    if (says || state_.e_relative != was.e_relative ||
        state_.e_relative_linked != was.e_relative_linked) {
      mode_of_e();
    }
  }
  [[nodiscard]] bool came_back() const {
    gcode::State is = state_;
    const gcode::State& was = q_.state;
    is.position[kZ] -= block_.lifted_mm;
    // Filament is where the steps left it, and only the offset knows.
    const double mm_per_e = was.filament_mm2 > 0 ? 1 / was.filament_mm2 : 1;  // steps are in mm
    const double moved_mm = (is.offset[kE] - was.offset[kE]) * mm_per_e;
    if (!(std::abs(moved_mm - block_.fed_mm) <= kSame)) return false;
    is.offset[kE] = was.offset[kE];
    for (std::size_t a = 0; a < is.position.size(); ++a) {
      if (!(std::abs(is.position[a] - was.position[a]) <= kSame)) return false;
    }
    is.position = was.position;
    const double same_feed = std::max(kSame, 1e-12 * was.feed_mm_s);
    if (!(std::abs(is.feed_mm_s - was.feed_mm_s) <= same_feed)) return false;
    is.feed_mm_s = was.feed_mm_s;
    if (!(std::abs(is.fan - was.fan) <= kSame)) return false;
    is.fan = was.fan;
    if (was.motion > 1 && is.motion == 1) is.motion = was.motion;
    return is == was;
  }

  // Writes a line and follows it, as a machine would.
  void emit(std::string text) {
    gcode::parse(text, words_);
    gcode::apply(words_, state_, effect_);
    const std::size_t index = block_.lines.size();
    block_.lines.push_back({StepLine::Kind::text, std::move(text), 0, effect_.dwell_s, 0});
    if (effect_.trouble != nullptr) trouble_ = effect_.trouble;
    if (effect_.waits_for_moves) clock_.stop();
    if (!effect_.moves) return;
    motion::Move m;
    m.delta = effect_.delta;
    m.feed_mm_s = effect_.feed_mm_s;
    m.length_mm = std::hypot(std::hypot(m.delta[0], m.delta[1]), m.delta[2]);
    clock_.move(m, index);
    block_.fed_mm += m.delta[kE];
    block_.most_mm = std::max(block_.most_mm, block_.fed_mm);
  }

  [[nodiscard]] double at(std::size_t axis) const {
    return state_.position[axis] + state_.offset[axis];
  }
  [[nodiscard]] double start(std::size_t axis) const {
    return q_.state.position[axis] + q_.state.offset[axis];
  }
  [[nodiscard]] bool is_elsewhere(std::size_t axis, std::optional<double> to) const {
    return to && std::abs(*to - at(axis)) > kNearMm;
  }

  [[nodiscard]] std::string name() const {
    return "the step sequence \"" + printable(sequence_.name, 80) + '"';
  }
  [[nodiscard]] Error refused(const std::string& message, std::string hint) const {
    Error e{Error::Kind::refused, name() + ' ' + message};
    e.hint = std::move(hint);
    return e;
  }

  const rules::Sequence& sequence_;
  const StepQuestion& q_;
  gcode::State state_;
  gcode::Effect effect_;
  gcode::Words words_;
  StepBlock block_;
  motion::MoveTimer clock_;
  double clear_z_;  // from here on x and y may be travelled; as the machine counts
  double target_c_;
  bool is_there_ = true;    // the heater, at its target
  bool full_flow_ = false;  // M221 has to be put back
  double went_mm_s_ = 0;    // the fastest move_mm that had a speed
  bool may_be_cold_;        // below work_c
  const char* trouble_ = nullptr;
};

}  // namespace

double make_up_mm(const rules::Step& step, double hot_s) {
  constexpr double kPerMm = 100;
  const double mm = std::round(step.amount * hot_s / 60 * kPerMm) / kPerMm;
  return std::min(mm, step.at_most_mm);
}

Result<StepBlock> lines_of(const rules::Sequence& sequence, const StepQuestion& question) {
  return Writer(sequence, question).run();
}

Result<StepBlock> lowering_lines(double lifted_mm, const StepQuestion& question) {
  const rules::Sequence none;
  return Writer(none, question).lower(lifted_mm);
}

const char* trouble_with_line(std::string_view line) {
  gcode::Words words;
  gcode::parse(line, words);
  return trouble_with(words, {});
}

bool rests_at(std::string_view line) {
  gcode::Words words;
  gcode::parse(line, words);
  if (words.kind != gcode::LineKind::words) return false;
  gcode::State state;
  gcode::Effect effect;
  gcode::apply(words, state, effect);
  return effect.waits_for_moves || effect.selects;
}

}  // namespace forewarm::job
