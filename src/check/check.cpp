#include "check/check.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <deque>
#include <utility>

#include "check/block.h"
#include "check/dialect.h"
#include "check/line_count.h"
#include "check/moved.h"
#include "check/pairing.h"
#include "check/replay.h"
#include "gcode/linear_move.h"
#include "gcode/lines.h"
#include "gcode/state.h"
#include "machine/ending.h"
#include "machine/interpreter.h"
#include "machine/move_filaments.h"
#include "motion/move_timer.h"
#include "rules/recogniser.h"

namespace forewarm::check {

namespace {

using gcode::kE;
using gcode::kZ;

// Two texts that have nothing to do with each other are not compared line by line.
Report of_another_original() {
  Report report;
  report.has_header = true;
  report.findings.add(Id::original_hash, 0,
                      "the first line names another original than the one given");
  return report;
}

class Check final : private Replay {
 public:
  Check(const rules::Rules& rules, const Options& options, rules::Recogniser recogniser)
      : Replay(rules, options),
        recogniser_(std::move(recogniser)),
        interpreter_(rules, recogniser_),
        dialect_(rules) {}

  Result<Report> run(ByteSource* original, ByteSource& rewritten) {
    const bool threaded = options_.threads > 1 && rewritten.size() >= options_.thread_from;
    Pairing pairing(original, rewritten, options_.chunk, threaded);
    Step step;
    std::uint64_t bytes = 0;
    std::uint64_t next_report = 0;
    for (;;) {
      auto more = pairing.next(step);
      if (!more) return std::move(more.error());
      if (!*more) break;
      ++report_.lines;
      bytes += step.rewritten.text.size() + 1;
      if (options_.progress && bytes >= next_report) {
        options_.progress(bytes);
        next_report = bytes + (1U << 22U);
      }
      line(step);
      if (error_) return std::move(*error_);
    }
    close_block({});
    finish();
    if (header_ && original != nullptr &&
        (pairing.original_bytes() != header_->bytes ||
         pairing.original_hash() != header_->original)) {
      return of_another_original();
    }
    hashes(pairing);
    const auto on = std::count_if(wanted_.begin(), wanted_.end(), [](double c) { return c > 0; });
    const std::string breaks_off = ending_.ending(pairing.restored_ends_open(), int(on)).warning();
    if (!breaks_off.empty()) say(Id::job_breaks_off, 0, breaks_off);
    report_.findings.sort_by_line();
    return std::move(report_);
  }

 private:
  // --- reading a line ---

  // `text` as the machine would take it from `state`.
  void read(std::string_view text, std::uint64_t number, gcode::State& state,
            InterpretedLine& told) {
    if (number == 1) text = machine::without_byte_order_mark(text);
    interpreter_.read(text, state, told);
  }

  void line(const Step& step) {
    number_ = step.rewritten.number;
    if (step.kind != Step::Kind::inserted) steps_ = nullptr;
    switch (step.kind) {
      case Step::Kind::header:
        header(step.rewritten.text);
        return;
      case Step::Kind::inserted:
        ++report_.inserted;
        open_block();
        inserted(step.rewritten.text);
        return;
      case Step::Kind::disabled:
        ++report_.disabled;
        open_block();
        read(step.original.text, step.original.number, original_state_, other_);
        disabled(step.original);
        return;
      case Step::Kind::kept:
        close_block(step);
        kept(step);
        block_ = 0;
        return;
      case Step::Kind::changed:
      case Step::Kind::lost:
      case Step::Kind::added:
        open_block();
        parted_ = true;
        parted(step);
        return;
    }
  }

  void kept(const Step& step) {
    // Only the select itself may come between a lift and its end.
    if (lifted_mm_ != 0 && std::exchange(lift_is_old_, true)) {
      lifted_mm_ = 0;
      say(Id::state_differs, number_, "before this line: Z, from a lift before the select");
    }
    if (lifted_mm_ == 0) lift_is_old_ = false;
    if (step.straight != nullptr && straight(*step.straight)) return;
    read(step.original.text, step.original.number, state_, told_);
    numbers(told_.words, true);
    follow_original(told_);
    act(told_, Side::job);
  }

  // What kept() does of most lines, in a few steps: a straight move has no number, and patterns
  // that do not want moves fit no line that begins as one. False if kept() has to.
  bool straight(const gcode::LinearMove& s) {
    if (!interpreter_.moves_alone(state_)) return false;
    std::array<double, 4> way;
    gcode::apply(s, state_, way);
    if (way == std::array<double, 4>{}) return true;  // a feed alone
    if (way[kE] > 0) original_feeds(way[0] != 0 || way[1] != 0);
    move(way, state_.feed_mm_s, Side::job);
    return true;
  }

  void numbers(const gcode::Words& words, bool in_both) {
    if (words.has_checksum && !words.checksum_ok) {
      say(Id::checksum_wrong, number_, "the checksum does not fit the line");
    }
    if (!words.numbered && !words.is('M', 110)) return;
    const bool original_good = !in_both || original_count_.take(words);
    if (!count_.take(words) && (original_good)) {
      say(Id::number_wrong, number_, fmt::format("N{} does not follow", words.number));
    }
  }

  // --- the original's side ---

  void follow_original(const InterpretedLine& line) {
    if (!line.effect.moves) ending_.take(line.words, line.recognised_end());
    for (const Operation& operation : line.operations) {
      if (operation.kind == Operation::Kind::select) (void)original_mount_.select(operation.tool);
      if (operation.kind == Operation::Kind::set_target) {
        original_target(original_mount_.head_of(operation.heater), operation.temp_c,
                        operation.waits, operation.waits_for_cooling);
      }
      if (operation.kind == Operation::Kind::unretract) original_feeds(false);
      if (operation.kind == Operation::Kind::move && line.feeds()) original_feeds(line.prints());
    }
  }

  void original_feeds(bool on_the_way) {
    ++report_.moves;
    ending_.fed();
    if (!let_go_.empty()) let_go_.clear();
    (void)original_mount_.feeding();
    if (!original_started_ && on_the_way) begin();
  }

  // The first print move: planning starts before it.
  void begin() {
    original_started_ = true;
    Event e;
    e.kind = Event::Kind::start;
    e.with_prelude = block_just_before_;
    e.head = original_mount_.mounted();
    put(e);
  }

  // --- lines that are not the same on both sides ---

  void header(std::string_view text) {
    header_ = rewrite::read_header(text);
    marked_ = true;
    report_.has_header = header_.has_value();
    if (!header_) {
      say(Id::mark_damaged, 1, "the first line is no header that can be read");
    } else {
      report_.rules_differ = header_->rules != rules_.hash;
    }
  }

  void open_block() {
    if (in_block_) return;
    in_block_ = true;
    block_ = number_;
    original_state_ = state_;
    last_steps_ = nullptr;
    state_.position[kZ] += std::exchange(lifted_mm_, 0);
    limits_ = std::as_const(clock_).limits();
    block_line_ = number_;
    if (!original_started_) {
      Event e;
      e.kind = Event::Kind::prelude;
      put(e);
    }
    block_z_ = original_state_.position[kZ] + original_state_.offset[kZ];
  }

  // Before a line that both sides have (nothing: at the end): the state has to be what it expects.
  void close_block(const Step& next) {
    block_just_before_ = in_block_;
    if (!in_block_) return;
    in_block_ = false;
    if (!original_started_ && block_acts_) {
      // Only right before the first print move is planning under way.
      gcode::State after = original_state_;
      if (!next.original.text.empty())
        read(next.original.text, next.original.number, after, other_);
      const bool prints = !next.original.text.empty() && other_.prints();
      if (!prints) say(Id::start_code, block_line_, "changed before the first print move");
    }
    block_acts_ = false;
    gcode::parse(next.original.text, other_.words);
    next_goes_on_ =
        other_.words.kind == gcode::LineKind::words && other_.words.count > 0 &&
        std::string_view("XYZE").find(other_.words.list[0].letter) != std::string_view::npos;
    if (!parted_) {
      lift(next);
      state_of_block();
    }
    parted_ = false;
    const int tool = state_.tool;
    state_ = original_state_;
    state_.tool = tool;
    clock_.limits() = limits_;
  }

  // What a sequence has lifted right before a select may stay so until right after it, and has to
  // where the steps say no more of it.
  void lift(const Step& next) {
    const double up_mm = state_.position[kZ] - original_state_.position[kZ];
    if (up_mm <= 1e-6 && last_steps_ == nullptr) return;
    gcode::State after = original_state_;
    other_ = InterpretedLine{};
    if (!next.original.text.empty()) read(next.original.text, next.original.number, after, other_);
    if (!other_.selects()) return;
    if (up_mm > 1e-6) {
      lifted_mm_ = up_mm;
      lift_is_old_ = false;
      state_.position[kZ] = original_state_.position[kZ];
    } else if (last_steps_ != nullptr &&
               ends_lifted(*last_steps_, block_z_, rules_.machine.travel_mm[kZ].high)) {
      say(Id::sequence_wrong, block_line_,
          fmt::format("the lift of {} is over before the select", last_steps_->name));
    }
  }

  void state_of_block() {
    std::string what = differences(state_, original_state_, next_goes_on_);
    if (!(std::as_const(clock_).limits() == limits_)) {
      what += (what.empty() ? "" : ", ") + std::string("a limit of motion");
    }
    if (!what.empty()) say(Id::state_differs, block_line_, "after these lines: " + what);
  }

  void inserted(std::string_view text) {
    const std::string_view code = text.substr(0, text.find(rewrite::kInserted));
    const gcode::State before = state_;
    told_.clear();
    gcode::parse(code, told_.words);
    numbers(told_.words, false);
    of_sequence(text);
    if (const auto target = dialect_.target(code)) {
      block_acts_ = true;
      const std::size_t head = target->heater ? heads_.of_heater(*target->heater)
                                              : heads_.of_tool(target->tool.value_or(-1));
      if (head == kNone) {
        say(Id::inserted_unknown, number_, "no toolhead has the heater of " + shown(code));
        return;
      }
      give(head, target->temp_c, target->waits, false, true);
      if (steps_ != nullptr) step_given(head, 0);
      return;
    }
    read(code, 0, state_, told_);
    if (!told_.acts()) {
      if (bare(code).empty()) return;
      say(Id::mark_damaged, number_, "a mark on a line that does nothing: " + shown(code));
      return;
    }
    if (told_.words.is('M', 110)) return;
    block_acts_ = true;
    if (!is_followed(told_) && !dialect_.given(code)) {
      say(Id::inserted_unknown, number_, shown(code));
    }
    if (told_.selects()) say(Id::select_added, number_, shown(code));
    moves_of_block(before);
    act(told_, Side::inserted);
    if (steps_ == nullptr) return;
    step_given(mount_.mounted(), 0);
    if (mount_.mounted() != kNone) used_until_here();
    for (const rules::Step& step : steps_->steps) {
      if (step.action != rules::Step::Action::gcode || bare(step.gcode) != bare(code)) continue;
      stop();
      pass(step.seconds);
      if (mount_.mounted() != kNone) used_until_here();
      break;
    }
  }

  // Whose sequence a line put in is of, by its mark.
  void of_sequence(std::string_view text) {
    std::string_view reason = text;
    reason.remove_prefix(
        std::min(reason.size(), reason.find(rewrite::kInserted) + rewrite::kInserted.size()));
    const rules::Sequence* steps = sequences_.named(reason);
    if (steps != nullptr) last_steps_ = steps;
    if (steps == nullptr && reason.substr(0, rewrite::kStep.size()) == rewrite::kStep) {
      say(Id::mark_damaged, number_, "names no sequence of the rule file: " + shown(reason));
    }
    steps_ = steps;
  }

  void moves_of_block(const gcode::State& before) {
    const gcode::Effect& e = told_.effect;
    if (!e.moves) return;
    flow(e);
    bool outside = false;
    for (std::size_t a = 0; a < 3; ++a) {
      const double to = state_.position[a] + state_.offset[a];
      const rules::Range& range = rules_.machine.travel_mm[a];
      outside |= e.delta[a] != 0 && (to < range.low - 1e-6 || to > range.high + 1e-6);
    }
    if (outside) say(Id::inserted_move_outside, number_, "leaves travel_mm");
    const double z =
        std::min(before.position[kZ] + before.offset[kZ], state_.position[kZ] + state_.offset[kZ]);
    if ((e.delta[0] != 0 || e.delta[1] != 0) && z <= block_z_ + 1e-6) {
      say(Id::inserted_move_low, number_, fmt::format("moves across at Z {:g}", z));
    } else if (e.delta[kZ] < 0 && z < block_z_ - 1e-6 &&
               !(steps_ != nullptr && goes_to(*steps_, z))) {
      say(Id::inserted_move_low, number_,
          fmt::format("goes down to Z {:g}, the job is at {:g}", z, block_z_));
    }
  }

  // How fast filament is pushed by a line put in.
  void flow(const gcode::Effect& e) {
    const std::size_t head = mount_.mounted();
    if (head == kNone || e.delta[kE] <= 0 || !heads_[head].max_flow_mm3_s) return;
    const double path = std::hypot(e.delta[0], e.delta[1], e.delta[2]);
    const double mm_s = e.feed_mm_s * (path > 0 ? e.delta[kE] / path : 1);
    const double diameter = rules_.filament(mount_.tool()).diameter_mm;
    const double flow = M_PI / 4 * diameter * diameter * mm_s;
    if (flow <= *heads_[head].max_flow_mm3_s * (1 + 1e-6)) return;
    say(Id::feed_too_fast, number_,
        fmt::format("pushes {:.3g} mm3/s, {:g} are allowed", flow, *heads_[head].max_flow_mm3_s));
  }

  void disabled(const Line& original) {
    // Nothing but targets may be taken out.
    original_numbers(other_.words);
    removed_waits();
    block_acts_ |= other_.acts();
    if (!other_.acts()) {
      say(Id::mark_damaged, number_, "a line that does nothing is disabled");
      return;
    }
    const gcode::Effect& e = other_.effect;
    if (other_.feeds()) {
      say(Id::move_lost, number_, "disabled: " + shown(original.text));
    } else if (other_.selects()) {
      say(Id::select_lost, number_, "disabled: " + shown(original.text));
    } else if (!((e.sets_target && e.commands == 1) || sets_by_pattern(other_)) || other_.seconds) {
      say(Id::line_lost, number_, "disabled: " + shown(original.text));
    }
  }
  // Follows the disabled line, and says so where it waits.
  void removed_waits() {
    const Operation* wait = nullptr;
    for (const Operation& operation : other_.operations) {
      if (operation.kind == Operation::Kind::set_target && operation.waits) wait = &operation;
    }
    if (wait == nullptr) return follow_original(other_);
    const std::size_t head = original_mount_.head_of(wait->heater);
    const double before_c = head == kNone ? 0 : wanted(head);
    const double for_c = wait->temp_c.value_or(before_c);
    const bool needless = head != kNone && wait->waits_for_cooling && has_cooled(head, for_c);
    follow_original(other_);
    if (head != kNone && !needless) wait_removed(head, for_c, before_c, wait->waits_for_cooling);
  }
  static bool sets_by_pattern(const InterpretedLine& line) {
    return std::any_of(
        line.operations.begin(), line.operations.end(), [](const Operation& operation) {
          return operation.kind == Operation::Kind::set_target && operation.by_pattern();
        });
  }
  void original_numbers(const gcode::Words& words) {
    if (words.numbered || words.is('M', 110)) (void)original_count_.take(words);
  }

  void parted(const Step& step) {
    const bool has_original = step.kind != Step::Kind::added;
    const bool has_rewritten = step.kind != Step::Kind::lost;
    const std::uint64_t number = number_;
    other_ = InterpretedLine{};
    told_ = InterpretedLine{};
    if (has_original) {
      read(step.original.text, step.original.number, original_state_, other_);
      original_numbers(other_.words);
      follow_original(other_);
    }
    if (has_rewritten) {
      read(step.rewritten.text, has_original ? step.original.number : 0, state_, told_);
      numbers(told_.words, false);
    }
    name_difference(step, number);
    if (has_rewritten) act(told_, Side::added);
  }

  void name_difference(const Step& step, std::uint64_t number) {
    const bool was = other_.acts();
    const bool is = told_.acts();
    if (!was && !is) return;  // comments: only the hash is another
    const std::string_view a = bare(other_.words.code);
    const std::string_view b = bare(told_.words.code);
    if (was && is && a == b && other_.recognised.size() == told_.recognised.size()) return;
    block_acts_ = true;
    const std::string text =
        !is    ? shown(step.original.text)
        : !was ? shown(step.rewritten.text)
               : shown(step.original.text) + " became " + shown(step.rewritten.text);
    const auto kind = [](const InterpretedLine& t) { return t.feeds() ? 2 : t.selects() ? 1 : 0; };
    if (was && is && kind(other_) == kind(told_)) {
      constexpr std::array<Id, 3> kChanged{Id::line_changed, Id::select_changed, Id::move_changed};
      say(kChanged[std::size_t(kind(told_))], number, text);
      return;
    }
    if (was) difference(kind(other_), true, a, number, shown(step.original.text));
    if (is) difference(kind(told_), false, b, number, shown(step.rewritten.text));
  }

  // One line lost here and added a little further on is one that changed places.
  void difference(int kind, bool lost, std::string_view code, std::uint64_t number,
                  const std::string& text) {
    constexpr std::array<Id, 3> kLost{Id::line_lost, Id::select_lost, Id::move_lost};
    constexpr std::array<Id, 3> kAdded{Id::line_added, Id::select_added, Id::move_added};
    if (kind == 2) {
      if (const auto same = recent_.take(lost, code)) {
        if (*same < report_.findings.list().size()) {
          report_.findings.list()[*same].id = Id::move_reordered;
        }
        return;
      }
    }
    say(lost ? kLost[std::size_t(kind)] : kAdded[std::size_t(kind)], number, text);
    if (kind == 2) recent_.add(lost, code, report_.findings.list().size() - 1);
  }

  void hashes(const Pairing& pairing) {
    if (!header_) {
      if (report_.inserted + report_.disabled > 0 && !report_.findings.count(Id::mark_damaged)) {
        say(Id::mark_damaged, 1, "there are marks, but the first line is no header");
      }
      return;
    }
    if (pairing.restored_bytes() != header_->bytes ||
        pairing.restored_hash() != header_->original) {
      say(Id::original_hash, 0,
          fmt::format("the first line says {} bytes; undoing the marks gives {}{}", header_->bytes,
                      pairing.restored_bytes(),
                      pairing.restored_bytes() == header_->bytes ? ", other ones" : ""));
    }
  }

  rules::Recogniser recogniser_;
  machine::Interpreter interpreter_;
  Dialect dialect_;
  machine::EndingWatch ending_;  // of the original
  std::optional<rewrite::Header> header_;

  gcode::State original_state_;  // within a block; else the two are the same
  InterpretedLine told_, other_;
  LineCount count_, original_count_;

  bool in_block_ = false, block_just_before_ = false, block_acts_ = false, parted_ = false;
  bool next_goes_on_ = false;
  std::uint64_t block_line_ = 0;
  double block_z_ = 0;
  const rules::Sequence* last_steps_ = nullptr;  // of the block
  double lifted_mm_ = 0;                         // across a select
  bool lift_is_old_ = false;                     // the select has been
  motion::Limits limits_;
  Displaced recent_{Pairing::kWindow};
};

// As if the job had always named the tools that the marks have moved its filaments to.
Result<Report> check_moved(Moved& moved, ByteSource* original, ByteSource& rewritten,
                           const rules::Rules& rules, const Options& options,
                           rules::Recogniser recogniser) {
  std::optional<SplicedSource> before;
  if (original != nullptr) {
    machine::FilamentMove move(rules, recogniser, moved.map);
    auto lines = machine::moved_lines(*original, options.original_name, move);
    if (!lines && lines.error().kind == Error::Kind::io) return std::move(lines.error());
    if (!lines) {
      // Nothing that could be compared.
      Report report;
      report.findings = std::move(moved.findings);
      if (!report.findings.count(Id::tools_mixed)) {
        report.findings.add(Id::tools_mixed, 0,
                            "the original cannot become so: " + lines.error().message);
      }
      return report;
    }
    before.emplace(*original, gcode::splices_of(*lines));
  }
  SplicedSource after(rewritten, std::move(moved.rewritten));
  const rules::Rules as_loaded = rules.with_filaments_moved(moved.map);
  auto report =
      Check(as_loaded, options, std::move(recogniser)).run(before ? &*before : nullptr, after);
  if (!report) return report;
  for (Finding& f : report->findings.list()) f.line = f.line == 0 ? 0 : moved.line_of(f.line);
  for (const Finding& f : moved.findings.list()) {
    report->findings.add(f.id, f.line, f.message);
  }
  report->findings.sort_by_line();
  report->lines += moved.pairs.size();
  report->inserted += moved.pairs.size() + moved.inserted;
  report->disabled += moved.pairs.size();
  return report;
}

}  // namespace

Result<Report> check(ByteSource* original, ByteSource& rewritten, const rules::Rules& rules,
                     const Options& options) {
  auto recogniser = rules::Recogniser::make(rules.recognise, rules.durations);
  if (!recogniser) return std::move(recogniser.error());
  if (original != nullptr) {
    auto header = header_of(rewritten);
    if (!header) return std::move(header.error());
    if (*header && (*header)->bytes != original->size()) return of_another_original();
  }
  auto moved = read_moved(rewritten, rules, *recogniser);
  if (!moved) return std::move(moved.error());
  if (!*moved) return Check(rules, options, std::move(*recogniser)).run(original, rewritten);
  return check_moved(**moved, original, rewritten, rules, options, std::move(*recogniser));
}

}  // namespace forewarm::check
