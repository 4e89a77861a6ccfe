#include "job/scan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>
#include <utility>

#include "gcode/linear_move.h"
#include "gcode/lines.h"
#include "gcode/read_ahead.h"
#include "gcode/state.h"
#include "gcode/words.h"
#include "job/byte_watch.h"
#include "job/materials.h"
#include "job/modals.h"
#include "job/pending_times.h"
#include "machine/ending.h"
#include "machine/heads.h"
#include "motion/move_timer.h"
#include "rules/recogniser.h"

namespace forewarm::job {

namespace {

class Scanner final : public motion::MoveTimer::Listener {
 public:
  Scanner(const rules::Rules& rules, const ScanOptions& options, rules::Recogniser recogniser)
      : rules_(rules),
        options_(options),
        recogniser_(std::move(recogniser)),
        clock_(limits_of(rules.motion), *this, rules.motion.time_scale) {
    job_.name = options.name;
    ask_moves_ = recogniser_.wants_moves();
    ask_lines_ = !recogniser_.empty();
    keep_modals_ = rules.uses_steps;
    modals_.limits(std::as_const(clock_).limits());
    if (rules.machine.purge_area_mm) purge_area_ = &*rules.machine.purge_area_mm;
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
        if (watch.nul) return binary(source);
        return refused(0, "the job holds forewarm's marks but no valid header",
                       "restore it from a copy, or from the file that forewarm made");
      }
      if (!read.more) break;
      if (auto status = block(read.block, read.digest); !status) return std::move(status.error());
      if (options_.progress && read.block.offset >= next_report) {
        options_.progress(read.block.offset);
        next_report = read.block.offset + (1U << 22U);
      }
    }
    if (source.size() == 0) return refused(0, "the job is empty", "");
    ahead.stop();
    job_.bytes = line_.end_offset();
    job_.lines = line_.number;
    job_.hash = watch.hash();
    finish();
    return std::move(job_);
  }

  void timed(std::span<const motion::Timed> moves) override {
    for (const motion::Timed& m : moves) {
      if (!pending_.empty()) pending_.settle(job_, delivered_, m.start_s);
      const std::uint64_t offset = m.tag >> 1U;
      if (offset != last_offset_) {
        job_.index.add({offset, m.start_s});
        last_offset_ = offset;
      }
      if ((m.tag & 1U) != 0) filament_until_s_ = m.start_s + m.seconds;
      ++delivered_;
    }
  }

 private:
  static motion::Limits limits_of(const rules::Motion& m) {
    motion::Limits l;
    l.max_speed = m.max_speed_mm_s;
    l.max_accel = m.max_accel_mm_s2;
    l.jerk = m.jerk_mm_s;
    l.junction_deviation = m.junction_deviation_mm.value_or(0);
    l.accel_print = l.accel_travel = l.accel_retract = m.accel_mm_s2;
    return l;
  }

  Error refused(std::size_t column, std::string message, std::string hint) const {
    Error e{Error::Kind::refused, std::move(message), options_.name, {}, {}, {}, std::move(hint)};
    if (column > 0) {
      e.line = line_.number;
      e.column = column;
      e.excerpt = std::string(line_.text.substr(0, 4096));
    }
    return e;
  }

  Error binary(ByteSource& source) const {
    Error e{Error::Kind::refused, "the job is not text: it has a NUL byte", options_.name};
    e.hint = "compressed or packed G-code has to be unpacked first";
    std::tie(e.line, e.column) = first_nul(source);
    return e;
  }

  // Column of the word with this letter in the present line, for the caret.
  [[nodiscard]] std::size_t column_of(char letter) const {
    for (std::size_t i = 0; i < line_.text.size(); ++i) {
      if ((line_.text[i] & ~0x20) == letter) return characters(line_.text.substr(0, i)) + 1;
    }
    return 1;
  }

  [[nodiscard]] Place here() const { return {line_.offset, 0}; }
  // Of a move of the present line: its place, and whether filament goes with it.
  [[nodiscard]] std::uint64_t tag_of(double e) const {
    return line_.offset << 1U | std::uint64_t(e != 0);
  }

  void stop() {
    clock_.stop();
    pending_.settle(job_, delivered_, clock_.now_s());
  }

  Status block(const gcode::Block& block, const gcode::ParsedBlock& digest) {
    const char* text = block.buffer.data();
    std::uint64_t offset = block.offset;
    for (std::size_t i = 0; i < digest.count; ++i) {
      const gcode::LinearMove& s = digest.lines[i];
      const std::uint64_t length = s.length();
      line_.text = {text, length};
      line_.ending = {text + length, s.ending()};
      line_.offset = offset;
      ++line_.number;
      text += length + s.ending();
      offset += length + s.ending();
      if (s.is() && straight(s)) continue;
      if (auto status = line(); !status) return status;
    }
    return success();
  }

  // The present line, most of all lines, in a few steps: what line() does of it where nothing else
  // than a move can come of it. Patterns that do not want moves fit no line that begins as one.
  // False if line() has to.
  bool straight(const gcode::LinearMove& s) {
    if (ask_moves_ || use_ == kNone || !job_.start || state_.inverse_time) return false;
    std::array<double, 4>& way = effect_.delta;
    gcode::apply(s, state_, way);
    const double e = way[gcode::kE];
    if (way == std::array<double, 4>{}) return true;  // a feed alone
    if (e != 0) {
      ToolUse& use = job_.uses[use_];
      if (e > 0) {
        extrudes(use);
        ending_.fed();
        if (!let_go_.empty()) let_go_.clear();
      }
      use.last_end = line_.end_offset();
      if (keep_modals_) modals_.fed(use.last_end, state_);
      if (e > 0) use.extruded_end = use.last_end;
      take_material(e);
      if (e > 0 && (way[0] != 0 || way[1] != 0)) count_layer();
    }
    clock_.move({way, motion::Move::kStraight, state_.feed_mm_s}, tag_of(e));
    return true;
  }

  Status line() {
    std::string_view text = line_.text;
    if (line_.number == 1 && text.substr(0, 3) == "\xef\xbb\xbf") text.remove_prefix(3);
    gcode::parse(text, words_);
    if (words_.has_checksum) {
      if (!words_.checksum_ok) {
        const auto star = line_.text.find('*');
        return refused(
            star == std::string_view::npos ? 1 : characters(line_.text.substr(0, star)) + 1,
            "the checksum is wrong", "the file is damaged; the machine would stop here");
      }
      if (words_.numbered) job_.numbered = true;
    }
    // Of the lines that select, only those that also do something else change more than the tool.
    if (keep_modals_ && words_.given('T')) before_ = state_;
    gcode::apply(words_, state_, effect_);
    if (keep_modals_ && job_.start && words_.is('G', 92.1)) {
      return refused(column_of('G'), "G92.1 undoes what step sequences have told the machine of E",
                     "rewrite this job by a rule file whose sequences nothing names");
    }
    bool lets_go = false;
    if (ask_lines_ && (ask_moves_ || !effect_.moves) && !line_.text.empty()) {
      found_.clear();
      std::optional<double> seconds;
      recogniser_.match(line_.text, found_, seconds);
      for (const rules::Recognised& r : found_) {
        lets_go |= r.lets_go();
        // A line that also does something else cannot be taken out of the job.
        const bool alone = found_.size() == 1 && !seconds && !effect_.selects && !effect_.moves &&
                           effect_.commands <= 1;
        if (auto status = recognised(r, alone); !status) return status;
      }
      if (seconds) {
        stop();
        job_.index.add({line_.offset, clock_.now_s()}, true);
        clock_.pass(*seconds);
      }
    }
    if (effect_.moves) {
      if (auto status = move(); !status) return status;
      if (effect_.commands <= 1) return success();
    } else {
      ending_.take(words_, lets_go);
    }
    if (effect_.commands == 0) return success();
    if (effect_.limits && clock_.limits().take(words_)) {
      modals_.limits(std::as_const(clock_).limits());
    }
    if (effect_.retracts || effect_.unretracts) {
      if (auto status = firmware_retraction(); !status) return status;
    }
    if (effect_.waits_for_moves) {
      stop();
      if (effect_.dwell_s > 0) {
        job_.index.add({line_.offset, clock_.now_s()}, true);
        clock_.pass(effect_.dwell_s);
      }
    }
    if (effect_.selects) {
      if (auto status = select(effect_.tool); !status) return status;
    }
    if (effect_.sets_target && (effect_.has_temp || effect_.waits_for_target)) {
      if (auto status = target(); !status) return status;
    }
    return success();
  }

  Status recognised(const rules::Recognised& r, bool alone) {
    using As = rules::Recognise::As;
    switch (r.as) {
      case As::layer:
        ++layers_recognised_;
        return success();
      case As::purge_begin:
        purging_ = true;
        return success();
      case As::purge_end:
        purging_ = false;
        return success();
      case As::change:
        stop();
        if (!words_.given('T')) before_ = state_;
        state_.tool = r.tool.value_or(-1);
        return select(r.tool.value_or(-1));
      case As::set:
      case As::wait: {
        const std::size_t head =
            r.heater ? heads_.of_heater(*r.heater) : heads_.of_tool(r.tool.value_or(-1));
        const double temp = r.temp.value_or(0);
        if (head == kNone) {
          if (temp <= 0) return success();
          return refused(1, "no toolhead has the heater that this line sets",
                         "add it to a [[toolhead]] in the rule file");
        }
        if (r.as == As::wait) stop();
        return add_target(head, true, temp, r.as == As::wait, false, alone, 1);
      }
    }
    return success();
  }

  Error unserved(int tool) const {
    Error e = refused(column_of('T'), "no toolhead serves T" + std::to_string(tool), "");
    e.hint = "add " + std::to_string(tool) +
             " to the `tools` of a [[toolhead]] in the rule file, or add a [[toolhead]] for it";
    return e;
  }

  static ChangeKind kind_of(const machine::Selected& m) {
    if (m.to == kNone) return ChangeKind::park;
    if (m.from == m.to) return m.exchange ? ChangeKind::filament : ChangeKind::redundant;
    return m.exchange ? ChangeKind::both : m.first ? ChangeKind::first : ChangeKind::toolhead;
  }

  Status select(int tool) {
    ToolChange s;
    s.at = {line_.offset, clock_.now_s()};
    s.end_offset = line_.end_offset();
    s.line = line_.number;
    s.from_tool = tool_;
    s.tool = tool;
    s.from_head = mounted_;
    const machine::Selected m = mount_.select(tool);
    if (!m.served) return unserved(tool);
    if (tool < 0 && m.redundant) return success();
    s.head = m.to;
    s.park_s = m.park_s;
    s.pick_s = m.pick_s;
    s.exchange_s = m.exchange_s;
    s.out_tool = m.out_tool;
    s.kind = kind_of(m);
    job_.index.add(s.at, true);
    job_.index.change(s.at.time_s);
    clock_.pass(s.park_s + s.pick_s + s.exchange_s);
    s.end_s = clock_.now_s();
    // Waits come next: what is due during them has to find a place before them.
    job_.index.add({s.end_offset, s.end_s}, true);
    if (keep_modals_) {
      modals_.select();
      modals_.keep(s.at.offset, before_);
      modals_.keep(s.end_offset, state_);
    }
    if (s.kind != ChangeKind::redundant) {
      close_use(s.head == mounted_);
      tool_ = tool;
      mounted_ = s.head;
      use_ = kNone;
    }
    job_.tool_changes.push_back(s);
    if (s.kind != ChangeKind::redundant) last_select_ = job_.tool_changes.size() - 1;
    return success();
  }

  // REQUIRES: motion is at rest. A wait after the last movement may be for what is exchanged next.
  void close_use(bool exchanged_next) {
    const std::size_t wait = std::exchange(wait_of_visit_, kNone);
    if (use_ != kNone) {
      ToolUse& use = job_.uses[use_];
      use.last_end_s = filament_until_s_;
      if (wait == kNone || exchanged_next || job_.targets[wait].at.offset < use.last_end) return;
      use.last_end = job_.targets[wait].end_offset;
      use.last_end_s = job_.targets[wait].at.time_s;
      return;
    }
    const bool exchanged = last_select_ != kNone && job_.tool_changes[last_select_].exchanges();
    if (!exchanged && wait == kNone) return;
    ToolUse s{.head = mounted_, .tool = tool_, .select = last_select_};
    if (wait != kNone) {
      const Target& target = job_.targets[wait];
      s.kind = ToolUse::Kind::waited;
      s.first = {target.end_offset, target.at.time_s};
      s.first_line = target.line;
    } else {
      const ToolChange& select = job_.tool_changes[last_select_];
      s.kind = ToolUse::Kind::exchanged;
      s.first = {select.end_offset, select.end_s};
      s.first_line = select.line;
    }
    s.last_end = s.extruded_end = s.first.offset;
    s.last_end_s = s.first.time_s;
    job_.uses.push_back(s);
  }

  Status target() {
    const std::optional<int> index = effect_.target_index;
    const std::size_t head = !index                                       ? mount_.spoken_to()
                             : rules_.dialect.temperature_index_is_heater ? heads_.of_heater(*index)
                                                                          : heads_.of_tool(*index);
    if (head == kNone) {
      if (effect_.has_temp && effect_.temp_c <= 0) return success();  // off is always harmless
      return unserved(index.value_or(0));
    }
    return add_target(head, effect_.has_temp, effect_.temp_c, effect_.waits_for_target,
                      effect_.waits_for_cooling, effect_.commands == 1,
                      column_of(words_.given('S') ? 'S' : 'R'));
  }

  Status add_target(std::size_t head, bool has_temp, double temp, bool waits, bool cooling,
                    bool alone, std::size_t column) {
    if (has_temp && temp > heads_[head].max_c) {
      Error e = refused(column, "", "check the job, or `max_c` of this toolhead in the rule file");
      e.message = fmt::format("a target of {} C is above max_c = {} of toolhead \"{}\"", temp,
                              heads_[head].max_c, heads_[head].name);
      return e;
    }
    Target t;
    t.at = here();
    t.end_offset = line_.end_offset();
    t.line = line_.number;
    t.head = head;
    t.has_temp = has_temp;
    t.temp_c = std::max(0.0, temp);
    t.waits = waits;
    t.cooling = cooling;
    t.alone = alone;
    job_.targets.push_back(t);
    if (has_temp) {
      const double ambient_c = heads_[head].hotend.ambient_c;
      if (t.temp_c <= ambient_c && target_of(head) > ambient_c) let_go_[head] = target_of(head);
      if (t.temp_c > ambient_c) let_go_.erase(head);
      target_of(head) = t.temp_c;
    }
    // What is waited for until it has cooled down is no use.
    const bool heated = target_of(head) > heads_[head].hotend.ambient_c &&
                        !(cooling && target_of(head) < used_at(head));
    if (waits && heated && head == mounted_) {
      used_at(head) = target_of(head);
      if (job_.start) wait_of_visit_ = job_.targets.size() - 1;
    }
    if (keep_modals_) modals_.keep(t.end_offset, state_);
    pending_.add(clock_.moves_taken(), PendingTimes::Field::target, job_.targets.size() - 1);
    if (waits) {
      pending_.settle(job_, delivered_, clock_.now_s());
      job_.index.add({line_.offset, clock_.now_s()}, true);
    }
    return success();
  }

  // The target that the job has given to a heater so far, and when it was last used; 0 before any.
  double& target_of(std::size_t head) { return of(target_of_, head); }
  double& used_at(std::size_t head) { return of(used_at_, head); }
  static double& of(std::vector<double>& by_head, std::size_t head) {
    if (by_head.size() <= head) by_head.resize(head + 1, 0);
    return by_head[head];
  }

  Status firmware_retraction() {
    const motion::Limits& l = std::as_const(clock_).limits();
    motion::Move m;
    m.delta[gcode::kE] = effect_.retracts ? -l.retract_mm : l.retract_mm;
    m.feed_mm_s = effect_.retracts ? l.retract_mm_s : l.unretract_mm_s;
    if (auto status = feeds(effect_.unretracts); !status) return status;
    // However far the firmware pulls, and be it nothing.
    clock_.move(m, tag_of(1));
    return success();
  }

  // Filament is moved by the present line: a use goes on, or begins. What the job pulls cold,
  // it has asked for no heat for; where it has only just let go of the heater, it is not cold.
  Status feeds(bool forwards) {
    if (use_ == kNone && !forwards) {
      if (mounted_ == kNone) return success();
      const bool hot = target_of(mounted_) > heads_[mounted_].hotend.ambient_c;
      if (!hot && !let_go_.contains(mounted_)) return success();
    }
    if (use_ == kNone) {
      mounted_ = mount_.feeding();
      if (mounted_ == kNone) {
        return refused(1, "filament moves before any tool is selected, and no toolhead serves T0",
                       "add 0 to the `tools` of a [[toolhead]] in the rule file");
      }
      tool_ = mount_.tool();
      ToolUse s{.head = mounted_, .tool = tool_, .select = last_select_};
      s.kind = ToolUse::Kind::pulled;
      s.first = here();
      s.first_line = line_.number;
      s.extruded_end = line_.offset;
      job_.uses.push_back(s);
      used_at(mounted_) = target_of(mounted_);
      if (const auto it = let_go_.find(mounted_); it != let_go_.end() && !forwards) {
        job_.uses.back().before_off_c = used_at(mounted_) = it->second;
      }
      use_ = job_.uses.size() - 1;
      pending_.add(clock_.moves_taken(), PendingTimes::Field::use_first, use_);
    }
    job_.uses[use_].last_end = line_.end_offset();
    if (keep_modals_) modals_.fed(line_.end_offset(), state_);
    if (forwards) {
      ending_.fed();
      let_go_.clear();
      extrudes(job_.uses[use_]);
      job_.uses[use_].extruded_end = line_.end_offset();
    }
    return success();
  }

  void extrudes(ToolUse& use) const {
    if (use.kind == ToolUse::Kind::fed) return;
    use.pulled_first = use.first.offset < line_.offset;
    use.kind = ToolUse::Kind::fed;
    use.fed_offset = line_.offset;
  }

  Status move() {
    const double e = effect_.delta[gcode::kE];
    if (e != 0) {
      if (auto status = feeds(e > 0); !status) return status;
      if (tool_ >= 0) take_material(e);  // else a retraction before any tool is selected
      if (e > 0 && (effect_.delta[0] != 0 || effect_.delta[1] != 0 || effect_.arc)) {
        if (!job_.start) {
          job_.start = here();
          pending_.add(clock_.moves_taken(), PendingTimes::Field::start, 0);
        }
        count_layer();
      }
    }
    motion::Move m;
    m.delta = effect_.delta;
    m.feed_mm_s = effect_.feed_mm_s;
    if (effect_.arc) {
      motion::move_along(clock_, m, *effect_.arc, state_.plane, tag_of(e));
      return success();
    }
    m.length_mm = motion::Move::kStraight;
    clock_.move(m, tag_of(e));
    return success();
  }

  void take_material(double e) {
    Material& m = materials_.of(tool_);
    const bool purge = purging_ || (purge_area_ != nullptr && in_purge_area());
    (purge ? m.purge_mm : m.part_mm) += e * std::as_const(clock_).limits().flow_factor;
  }

  void count_layer() {
    if (state_.position[gcode::kZ] <= top_z_ + 1e-6) return;
    top_z_ = state_.position[gcode::kZ];
    ++layers_by_height_;
  }

  // Whether the present move starts and ends there, as the machine counts.
  [[nodiscard]] bool in_purge_area() const {
    for (std::size_t a = 0; a < purge_area_->size(); ++a) {
      const rules::Range& range = (*purge_area_)[a];
      const double to = state_.position[a] + state_.offset[a];
      const double from = to - effect_.delta[a];
      if (std::min(from, to) < range.low - 1e-6 || std::max(from, to) > range.high + 1e-6) {
        return false;
      }
    }
    return true;
  }

  void finish() {
    stop();
    if (keep_modals_) modals_.finish(job_);
    close_use(false);
    job_.heads = heads_.list();
    const auto on =
        std::count_if(target_of_.begin(), target_of_.end(), [](double c) { return c > 0; });
    job_.ending = ending_.ending(line_.ending.empty(), int(on));
    job_.duration_s = clock_.now_s();
    job_.motion_s = clock_.moving_s();
    job_.layers = layers_recognised_ > 0 ? layers_recognised_ : layers_by_height_;
    for (const ToolChange& s : job_.tool_changes) {
      if (!s.exchanges()) continue;
      Material& m = materials_.of(s.tool);
      ++m.exchanges;
      m.exchange_purge_mm3 += heads_[s.head].exchange_purge_mm3;
    }
    job_.materials = materials_.list();
    set_temperatures(job_);
  }

  const rules::Rules& rules_;
  const ScanOptions& options_;
  rules::Recogniser recogniser_;
  bool ask_moves_ = false, ask_lines_ = false;
  bool keep_modals_ = false;
  gcode::State before_;  // the present line, if it names a tool
  ModalKeeper modals_;
  Job job_;
  motion::MoveTimer clock_;
  gcode::RawLine line_;
  gcode::Words words_;
  gcode::State state_;
  gcode::Effect effect_;
  std::vector<rules::Recognised> found_;

  PendingTimes pending_;
  std::uint64_t delivered_ = 0;
  std::uint64_t last_offset_ = UINT64_MAX;  // of a line with a move
  double filament_until_s_ = 0;             // when the last move of filament was over

  machine::Heads heads_{rules_};
  machine::ToolChanger mount_{heads_};
  machine::EndingWatch ending_;
  int tool_ = -1;  // of the use under way
  std::size_t mounted_ = kNone;
  std::size_t last_select_ = kNone;
  std::size_t use_ = kNone;
  std::size_t wait_of_visit_ = kNone;        // of job_.targets: the last for what is mounted
  std::vector<double> target_of_, used_at_;  // by toolhead
  // By toolhead: the target before an off, while nothing has been fed forwards since.
  std::map<std::size_t, double> let_go_;

  bool purging_ = false;
  const std::array<rules::Range, 2>* purge_area_ = nullptr;
  Materials materials_;
  double top_z_ = -1e9;
  std::uint64_t layers_recognised_ = 0, layers_by_height_ = 0;
};

}  // namespace

Result<Job> scan(ByteSource& source, const rules::Rules& rules, const ScanOptions& options) {
  auto recogniser = rules::Recogniser::make(rules.recognise, rules.durations);
  if (!recogniser) return std::move(recogniser.error());
  Scanner scanner(rules, options, std::move(*recogniser));
  return scanner.run(source);
}

}  // namespace forewarm::job
