#include "job/scan.h"

#include <fmt/format.h>

#include <utility>

#include "gcode/linear_move.h"
#include "gcode/lines.h"
#include "gcode/read_ahead.h"
#include "gcode/state.h"
#include "job/byte_watch.h"
#include "job/job_timer.h"
#include "job/line_errors.h"
#include "job/materials.h"
#include "job/modals.h"
#include "job/unknown_commands.h"
#include "job/use_tracker.h"
#include "machine/ending.h"
#include "machine/interpreter.h"
#include "rules/recogniser.h"

namespace forewarm::job {

namespace {

using machine::Operation;

// Folds the operations of each line into a Job.
class Scanner {
 public:
  Scanner(const rules::Rules& rules, const ScanOptions& options,
          const rules::Recogniser& recogniser)
      : rules_(rules),
        options_(options),
        errors_(options.name),
        interpreter_(rules, recogniser, &job_.pattern_hits),
        keeps_modals_(rules.uses_steps),
        timer_(rules.motion, job_),
        uses_(rules, job_),
        materials_(rules.machine),
        spools_(options.spools) {
    job_.name = options.name;
    modals_.limits(std::as_const(timer_).limits());
  }

  Result<Job> run(ByteSource& source) {
    const bool threaded = options_.threads > 1 && source.size() >= options_.thread_from;
    ByteWatch watch;
    gcode::ReadAhead ahead(source, options_.chunk, threaded, &watch);
    std::uint64_t next_report = 0;
    for (;;) {
      const gcode::ReadAhead::Read& read = ahead.next();
      if (read.error) return *read.error;
      if (read.stopped) {
        ahead.stop();
        return unusable(watch, source);
      }
      if (!read.more) break;
      if (auto status = block(read.block, read.digest); !status) return std::move(status.error());
      if (options_.progress && read.block.offset >= next_report) {
        options_.progress(read.block.offset);
        next_report = read.block.offset + (1U << 22U);
      }
    }
    if (source.size() == 0) return errors_.of_job("the job is empty", "");
    ahead.stop();
    job_.bytes = line_.end_offset();
    job_.lines = line_.number;
    job_.hash = watch.hash();
    finish();
    return std::move(job_);
  }

 private:
  [[nodiscard]] Error unusable(const ByteWatch& watch, ByteSource& source) const {
    if (!watch.nul) {
      return errors_.of_job("the job holds forewarm's marks but no valid header",
                            "restore it from a copy, or from the file that forewarm made");
    }
    return not_text(source, options_.name);
  }

  [[nodiscard]] LineSpan span() const { return {line_.offset, line_.end_offset(), line_.number}; }

  Status block(const gcode::Block& block, const gcode::ParsedBlock& digest) {
    const char* text = block.buffer.data();
    std::uint64_t offset = block.offset;
    for (std::size_t i = 0; i < digest.count; ++i) {
      const gcode::LinearMove& move = digest.lines[i];
      const std::uint64_t length = move.length();
      line_.text = {text, length};
      line_.ending = {text + length, move.ending()};
      line_.offset = offset;
      ++line_.number;
      text += length + move.ending();
      offset += length + move.ending();
      while (line_.offset >= spools_.next_offset()) insert_filament();
      if (move.is() && linear_move(move)) continue;
      if (auto status = line(); !status) return status;
    }
    return success();
  }

  // The present line, most of all lines, in a few steps: what line() does of it where nothing else
  // than a move can come of it. False if line() has to.
  bool linear_move(const gcode::LinearMove& move) {
    if (!uses_.in_use() || !job_.start || !interpreter_.moves_alone(state_)) return false;
    std::array<double, 4>& delta = interpreted_.effect.delta;
    gcode::apply(move, state_, delta);
    const double e = delta[gcode::kE];
    if (delta == std::array<double, 4>{}) return true;  // a feed alone
    if (e != 0) {
      const LineSpan here = span();
      uses_.go_on(e > 0, here);
      if (keeps_modals_) modals_.fed(here.end_offset, state_);
      if (e > 0) ending_.fed();
      if (e > 0 && (delta[0] != 0 || delta[1] != 0)) {
        layers_.print_at(state_.position[gcode::kZ], line_.offset);
      }
      count_material(delta);
      if (timer_.flow().watches()) watch_flow(delta, square_of(delta), state_.feed_mm_s, 1);
    }
    timer_.move(delta, state_.feed_mm_s, line_.offset);
    return true;
  }

  // Of the move that is given to the clock next, as `moves` of its own, and moves filament.
  void watch_flow(const std::array<double, 4>& delta, double square, double feed_mm_s,
                  std::uint64_t moves) {
    const double e = delta[gcode::kE];
    FlowWatch& flow = timer_.flow();
    if (e < 0) return flow.pull(-e);
    if (!flow.may_exceed(e, square, feed_mm_s)) return;
    flow.feed(timer_.moves_taken(), moves, e, !(square > 0), line_.number);
  }
  static double square_of(const std::array<double, 4>& delta) {
    return delta[0] * delta[0] + delta[1] * delta[1] + delta[2] * delta[2];
  }

  Status line() {
    std::string_view text = line_.text;
    if (line_.number == 1) text = machine::without_byte_order_mark(text);
    if (keeps_modals_) before_ = state_;
    interpreter_.read(text, state_, interpreted_);
    const gcode::Words& words = interpreted_.words;
    if (words.has_checksum) {
      if (!words.checksum_ok) return wrong_checksum();
      if (words.numbered) job_.numbered = true;
    }
    if (keeps_modals_ && job_.start && words.is('G', 92.1)) {
      return errors_.at_letter(line_, 'G', "G92.1 undoes the E that step sequences have set",
                               "rewrite this job by a rule file whose sequences nothing names");
    }
    if (!interpreted_.effect.moves) {
      ending_.take(words, interpreted_.recognised_end());
      unknown_.take(line_.number, interpreted_);
    }
    watch_program_end(words);
    for (const Operation& operation : interpreted_.operations) {
      if (auto status = perform(operation); !status) return status;
    }
    return success();
  }

  void watch_program_end(const gcode::Words& words) {
    if (words.kind == gcode::LineKind::blank) return;
    if (!words.is('M', 2) && !words.is('M', 30)) {
      job_.program_end.reset();
    } else if (!job_.program_end || program_end_moves_ != timer_.moves_taken()) {
      job_.program_end = line_.offset;
      program_end_moves_ = timer_.moves_taken();
    }
  }

  [[nodiscard]] Error wrong_checksum() const {
    const auto star = line_.text.find('*');
    const std::size_t column =
        star == std::string_view::npos ? 1 : characters(line_.text.substr(0, star)) + 1;
    return errors_.at(line_, column, "the checksum is wrong",
                      "the file is damaged; the machine would stop here");
  }

  Status perform(const Operation& operation) {
    switch (operation.kind) {
      case Operation::Kind::layer:
        layers_.recognise(line_.offset);
        return success();
      case Operation::Kind::purge_begin:
        materials_.begin_purge();
        return success();
      case Operation::Kind::purge_end:
        materials_.end_purge();
        return success();
      case Operation::Kind::rest:
        if (interpreted_.has(Operation::Kind::set_target)) {
          timer_.stop_for_target(line_.number);
        } else {
          timer_.stop(line_.number);
        }
        return success();
      case Operation::Kind::pass:
        job_.index.add({line_.offset, timer_.now_s()}, true);
        timer_.pass(operation.seconds, line_.offset);
        return success();
      case Operation::Kind::select:
        return select(operation.tool);
      case Operation::Kind::set_target:
        return set_target(operation);
      case Operation::Kind::move:
        return move();
      case Operation::Kind::set_limits:
        set_limits();
        return success();
      case Operation::Kind::pause:
        pause();
        return success();
      case Operation::Kind::retract:
        return firmware_retraction(false);
      case Operation::Kind::unretract:
        return firmware_retraction(true);
    }
    return success();
  }

  // By a pattern of the rule file, a line may be one twice.
  void pause() {
    const LineSpan here = span();
    if (!job_.pauses.empty() && job_.pauses.back().line == here.number) return;
    constexpr std::size_t kMostText = 200;
    job_.pauses.push_back({{here.offset, timer_.now_s()},
                           here.end_offset,
                           here.number,
                           layers_.count(),
                           uses_.mounted(),
                           std::string(line_.text.substr(0, kMostText))});
    // What comes next has to find a place right behind it.
    job_.index.add({here.offset, timer_.now_s()}, true);
    job_.index.add({here.end_offset, timer_.now_s()}, true);
  }

  void set_limits() {
    const gcode::Words& words = interpreted_.words;
    if (std::as_const(timer_).limits().leaves_aside(words)) {
      if (std::exchange(left_aside_, true)) return;
      job_.hints.push_back(
          {line_.number,
           fmt::format("M{:g} is left aside, here and later: corners go by right_angle_mm_s",
                       words.value('M'))});
    } else if (timer_.limits().take(words)) {
      modals_.limits(std::as_const(timer_).limits());
      timer_.flow().limits(std::as_const(timer_).limits());
    }
  }

  // A use begins: of the job's last.
  void begin_flow() {
    const ToolUse& use = job_.uses.back();
    const rules::Toolhead& head = uses_.heads()[use.head];
    const double mm2 = head.max_flow_mm3_s ? rules_.filament(use.tool).area_mm2() : 0;
    timer_.flow().use(use.head, head, mm2, std::as_const(timer_).limits());
  }

  [[nodiscard]] Error unserved(int tool) const {
    return errors_.at_letter(
        line_, 'T', fmt::format("no toolhead serves T{}", tool),
        fmt::format("add {} to the `tools` of a [[toolhead]] in the rule file, or add a "
                    "[[toolhead]] for it",
                    tool));
  }

  Status select(int tool) {
    const double at_s = timer_.now_s();
    bool served = true;
    ToolChange change = uses_.select(tool, served);
    if (!served) return unserved(tool);
    if (tool < 0 && change.from_head == kNone) return success();  // parked already
    const LineSpan here = span();
    change.at = {here.offset, at_s};
    change.end_offset = here.end_offset;
    change.line = here.number;
    change.held_s = timer_.held_s();
    job_.index.add(change.at, true);
    job_.index.change(at_s);
    timer_.pass(change.park_s + change.pick_s + change.exchange_s, line_.offset);
    change.end_s = timer_.now_s();
    // Waits come next: what is due during them has to find a place before them.
    job_.index.add({change.end_offset, change.end_s}, true);
    if (keeps_modals_) {
      modals_.select();
      modals_.keep(change.at.offset, before_);
      modals_.keep(change.end_offset, state_);
    }
    layers_at_changes_.push_back(layers_.now());
    uses_.finish_change(change, timer_.filament_until_s());
    materials_.select(uses_.tool());
    if (change.exchanges()) exchange(change);
    return success();
  }

  void exchange(const ToolChange& change) {
    const double purge_mm3 = uses_.heads()[change.head].exchange_purge_mm3;
    const double purge_mm = purge_mm3 > 0 ? purge_mm3 / rules_.filament(change.tool).area_mm2() : 0;
    materials_.exchange(change.tool, purge_mm3, purge_mm);
    if (spools_.watches() && spools_.move(change.tool, purge_mm)) {
      spool_ends(change.tool, false, change.at.time_s);
    }
  }

  // What is inserted before the present line, moves next.
  void insert_filament() {
    const int tool = spools_.next().tool;
    if (spools_.insert()) spool_ends(tool, true);
  }

  // Without a time: when the next move begins.
  void spool_ends(int tool, bool inserted, std::optional<double> time_s = {}) {
    if (!time_s) timer_.time_spool_end(job_.spool_ends.size());
    job_.spool_ends.push_back({.tool = tool,
                               .at = {line_.offset, time_s.value_or(0)},
                               .line = line_.number,
                               .inserted = inserted});
    layers_then_.push_back(layers_.now());
  }

  Status set_target(const Operation& operation) {
    const std::size_t head = uses_.head_of(operation.heater);
    if (head == kNone) {
      if (operation.temp_c && *operation.temp_c <= 0) return success();  // off is always harmless
      using By = machine::HeaterAddress::By;
      const machine::HeaterAddress& heater = operation.heater;
      if (!operation.by_pattern()) return unserved(heater.by == By::mounted ? 0 : heater.number);
      return errors_.at(line_, 1, "no toolhead has the heater that this line sets",
                        "add it to a [[toolhead]] in the rule file");
    }
    if (operation.temp_c.value_or(0) > uses_.heads()[head].max_c) {
      return too_hot(*operation.temp_c, uses_.heads()[head], operation.by_pattern());
    }
    if (operation.waits) timer_.stop_for_target(line_.number);
    uses_.set_target(head, operation, span(), alone(operation));
    if (keeps_modals_) modals_.keep(line_.end_offset(), state_);
    timer_.time_target(job_.targets.size() - 1);
    if (operation.waits) {
      timer_.settle();
      job_.index.add({line_.offset, timer_.now_s()}, true);
    }
    return success();
  }

  // Whether the line does nothing else: else it cannot be removed from the job.
  [[nodiscard]] bool alone(const Operation& operation) const {
    const gcode::Effect& e = interpreted_.effect;
    if (!operation.by_pattern()) return e.commands == 1;
    return interpreted_.recognised.size() == 1 && !interpreted_.seconds && !e.selects && !e.moves &&
           e.commands <= 1;
  }

  [[nodiscard]] Error too_hot(double temp_c, const rules::Toolhead& head, bool by_pattern) const {
    const std::string message = fmt::format(
        "a target of {} C is above max_c = {} of toolhead \"{}\"", temp_c, head.max_c, head.name);
    const std::string hint = "check the job, or `max_c` of this toolhead in the rule file";
    if (by_pattern) return errors_.at(line_, 1, message, hint);
    return errors_.at_letter(line_, interpreted_.words.given('S') ? 'S' : 'R', message, hint);
  }

  Status firmware_retraction(bool forwards) {
    if (auto status = move_filament(forwards); !status) return status;
    timer_.firmware_retraction(forwards, line_.offset);
    return success();
  }

  Status move_filament(bool forwards) {
    const LineSpan here = span();
    switch (uses_.move_filament(forwards, here)) {
      case UseTracker::Filament::cold:
        return success();
      case UseTracker::Filament::unserved:
        return errors_.at(line_, 1,
                          "filament moves before any tool is selected, and no toolhead serves T0",
                          "add 0 to the `tools` of a [[toolhead]] in the rule file");
      case UseTracker::Filament::begins:
        timer_.time_use(job_.uses.size() - 1);
        begin_flow();
        break;
      case UseTracker::Filament::goes_on:
        break;
    }
    if (keeps_modals_) modals_.fed(here.end_offset, state_);
    if (forwards) ending_.fed();
    return success();
  }

  Status move() {
    const gcode::Effect& effect = interpreted_.effect;
    const double e = effect.delta[gcode::kE];
    if (e != 0) {
      if (auto status = move_filament(e > 0); !status) return status;
      if (interpreted_.prints()) {
        if (!job_.start) {
          job_.start = Place{line_.offset, 0};
          timer_.time_start();
        }
        layers_.print_at(state_.position[gcode::kZ], line_.offset);
      }
      if (uses_.tool() >= 0) count_material(effect.delta);
    }
    if (effect.arc) {
      const gcode::Arc& arc = *effect.arc;
      if (e != 0) {
        watch_flow(effect.delta, arc.length_mm * arc.length_mm, effect.feed_mm_s,
                   motion::chords_of(arc));
      }
      timer_.move_along(arc, state_.plane, effect.delta, effect.feed_mm_s, line_.offset);
    } else {
      if (e != 0) watch_flow(effect.delta, square_of(effect.delta), effect.feed_mm_s, 1);
      timer_.move(effect.delta, effect.feed_mm_s, line_.offset);
    }
    return success();
  }

  void count_material(const std::array<double, 4>& delta) {
    const double mm = delta[gcode::kE] * std::as_const(timer_).limits().flow_factor;
    materials_.move(uses_.tool(), mm, delta, state_);
    if (spools_.watches() && spools_.move(uses_.tool(), mm)) spool_ends(uses_.tool(), false);
  }

  void finish() {
    if (program_end_moves_ != timer_.moves_taken()) job_.program_end.reset();
    while (spools_.next_offset() <= job_.bytes) insert_filament();
    timer_.stop(line_.number + 1);
    job_.held_s = timer_.held_s();
    if (keeps_modals_) modals_.finish(job_);
    uses_.finish(timer_.filament_until_s());
    job_.heads = uses_.heads().list();
    job_.ending = ending_.ending(line_.ending.empty(), uses_.heaters_on());
    job_.duration_s = timer_.now_s();
    job_.motion_s = timer_.motion_s();
    job_.layers = layers_.count();
    for (const std::uint64_t offset : layers_.starts()) {
      job_.layer_starts.push_back({offset, job_.index.time_at(offset)});
    }
    for (std::size_t i = 0; i < job_.tool_changes.size(); ++i) {
      job_.tool_changes[i].layer = layers_.count_then(layers_at_changes_[i]);
    }
    job_.unknown = unknown_.list();
    job_.materials = materials_.list();
    job_.visits = materials_.visits();
    for (std::size_t i = 0; i < job_.spool_ends.size(); ++i) {
      job_.spool_ends[i].layer = layers_.count_then(layers_then_[i]);
    }
    timer_.flow().finish(job_.heads, job_.hints);
    set_temperatures(job_);
  }

  const rules::Rules& rules_;
  const ScanOptions& options_;
  const LineErrors errors_;
  const machine::Interpreter interpreter_;
  const bool keeps_modals_;
  Job job_;
  JobTimer timer_;
  UseTracker uses_;
  Materials materials_;
  LayerCount layers_;
  SpoolWatch spools_;
  std::vector<LayerCount::Moment> layers_then_;        // of job_.spool_ends
  std::vector<LayerCount::Moment> layers_at_changes_;  // as job_.tool_changes
  ModalKeeper modals_;
  machine::EndingWatch ending_;
  std::uint64_t program_end_moves_ = 0;  // that came before job_.program_end
  UnknownCommands unknown_;

  bool left_aside_ = false;  // a command for corners that the machine does not have
  gcode::RawLine line_;      // the present one
  machine::InterpretedLine interpreted_;
  gcode::State state_;
  gcode::State before_;  // the present line; kept for modals_ alone
};

}  // namespace

Result<Job> scan(ByteSource& source, const rules::Rules& rules, const ScanOptions& options) {
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) return std::move(recogniser.error());
  return Scanner(rules, options, *recogniser).run(source);
}

}  // namespace forewarm::job
