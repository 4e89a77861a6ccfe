#include "check/check.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "check/block.h"
#include "check/dialect.h"
#include "check/difference.h"
#include "check/edit_block.h"
#include "check/line_count.h"
#include "check/moved.h"
#include "check/original_side.h"
#include "check/pairing.h"
#include "check/replay.h"
#include "gcode/linear_move.h"
#include "gcode/lines.h"
#include "gcode/state.h"
#include "machine/interpreter.h"
#include "machine/move_filaments.h"
#include "rules/recogniser.h"

namespace forewarm::check {

namespace {

// Two texts that have nothing to do with each other are not compared line by line.
Report of_another_original() {
  Report report;
  report.has_header = true;
  report.findings.add(Id::original_hash, 0,
                      "the first line names another original than the one given");
  return report;
}

// Reads the lines of both texts: the original's say what is asked, the rewritten job's are played.
class Check {
 public:
  Check(const rules::Rules& rules, const Options& options, const rules::Recogniser& recogniser)
      : rules_(rules),
        options_(options),
        interpreter_(rules, recogniser),
        dialect_(rules),
        heads_(rules),
        original_(heads_),
        replay_(rules, heads_, original_, report_.findings),
        block_(rules, report_.findings),
        difference_(report_.findings) {}

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
      if (replay_.error()) return cannot_be_followed();
    }
    if (block_.ends()) close_block(nullptr);
    replay_.finish(marked_, number_);
    if (header_ && original != nullptr &&
        (pairing.original_bytes() != header_->bytes ||
         pairing.original_hash() != header_->original)) {
      return of_another_original();
    }
    finish(pairing);
    return std::move(report_);
  }

 private:
  using Side = LineContext::Side;

  void say(Id id, std::string what) { report_.findings.add(id, number_, std::move(what)); }

  [[nodiscard]] Error cannot_be_followed() const {
    Error e = *replay_.error();
    e.file = options_.rewritten_name;
    return e;
  }

  void finish(const Pairing& pairing) {
    report_.moves = original_.feeds();
    report_.duration_s = replay_.machine().now_s();
    report_.wait_s = replay_.machine().waited_s();
    judge_hashes(pairing);
    const std::string breaks_off = original_.ending(pairing.restored_ends_open()).warning();
    if (!breaks_off.empty()) report_.findings.add(Id::job_breaks_off, 0, breaks_off);
    report_.findings.sort_by_line();
  }

  // `text` as the machine would take it from `state`; `number`: of its line.
  void read(std::string_view text, std::uint64_t number, gcode::State& state,
            InterpretedLine& line) const {
    if (number == 1) text = machine::without_byte_order_mark(text);
    interpreter_.read(text, state, line);
  }
  void read_original(const Line& original, gcode::State& state) {
    read(original.text, original.number, state, original_line_);
  }

  [[nodiscard]] LineContext context(Side side, const rules::Sequence* steps = nullptr) const {
    return {side, number_, block_.span(number_), steps, false};
  }

  void line(const Step& step) {
    number_ = step.rewritten.number;
    switch (step.kind) {
      case Step::Kind::header:
        return header(step.rewritten.text);
      case Step::Kind::inserted:
        ++report_.inserted;
        open_block();
        return inserted(step.rewritten.text);
      case Step::Kind::disabled:
        ++report_.disabled;
        open_block();
        return disabled(step.original);
      case Step::Kind::kept:
        if (block_.ends()) close_block(&step.original);
        block_.begin_shared(number_);
        kept(step);
        return block_.end_shared();
      case Step::Kind::changed:
      case Step::Kind::lost:
      case Step::Kind::added:
        open_block();
        block_.part();
        return differs(step);
    }
  }

  void header(std::string_view text) {
    header_ = rewrite::read_header(text);
    marked_ = true;
    report_.has_header = header_.has_value();
    if (!header_) {
      report_.findings.add(Id::mark_damaged, 1, "the first line is no header that can be read");
    } else {
      report_.rules_differ = header_->rules != rules_.hash;
    }
  }

  // --- lines that both texts have ---

  void kept(const Step& step) {
    if (step.straight != nullptr && linear_move(*step.straight)) return;
    read(step.original.text, step.original.number, state_, rewritten_line_);
    judge_numbers(rewritten_line_.words, true);
    follow_original(rewritten_line_);
    replay_.act(rewritten_line_, state_.plane, context(Side::job));
  }

  // What kept() does of most lines, in a few steps: a straight move has no number, and may ask for
  // nothing else than a move. False if kept() has to.
  bool linear_move(const gcode::LinearMove& move) {
    if (!interpreter_.moves_alone(state_)) return false;
    std::array<double, 4> delta;
    gcode::apply(move, state_, delta);
    if (delta == std::array<double, 4>{}) return true;  // a feed alone
    if (delta[gcode::kE] > 0 && original_.feed(delta[0] != 0 || delta[1] != 0)) start();
    replay_.move(delta, state_.feed_mm_s, context(Side::job));
    return true;
  }

  void follow_original(const InterpretedLine& line) {
    if (original_.follow(line, replay_.machine().now_s())) start();
  }

  // The first print move: planning starts before it.
  void start() { replay_.machine().start(block_.just_before(), original_.mounted()); }

  void judge_numbers(const gcode::Words& words, bool in_both) {
    if (words.has_checksum && !words.checksum_ok) {
      say(Id::checksum_wrong, "the checksum does not fit the line");
    }
    if (!words.numbered && !words.is('M', 110)) return;
    const bool original_good = !in_both || original_.take_number(words);
    if (!count_.take(words) && original_good) {
      say(Id::number_wrong, fmt::format("N{} does not follow", words.number));
    }
  }
  void original_numbers(const gcode::Words& words) {
    if (words.numbered || words.is('M', 110)) (void)original_.take_number(words);
  }

  // --- blocks of lines that only one text has ---

  void open_block() {
    if (block_.is_open()) return;
    block_.open(number_, state_, std::as_const(replay_).machine().limits());
    if (!original_.started()) replay_.machine().prelude();
  }

  // Before `next`, a line that both texts have, or the end.
  void close_block(const Line* next) {
    if (next != nullptr) {
      gcode::State after = block_.original_state();
      read_original(*next, after);
    }
    block_.close(next != nullptr ? &original_line_ : nullptr, original_.started(), state_,
                 std::as_const(replay_).machine().limits());
    replay_.machine().limits() = block_.limits();
  }

  void inserted(std::string_view text) {
    const std::string_view code = text.substr(0, text.find(rewrite::kInserted));
    const gcode::State before = state_;
    rewritten_line_.clear();
    gcode::parse(code, rewritten_line_.words);
    judge_numbers(rewritten_line_.words, false);
    LineContext at = context(Side::inserted, sequence_of(text));
    at.makes_up = text.find(rewrite::kMakesUp) != std::string_view::npos;
    if (const auto target = dialect_.target(code)) return inserted_target(*target, code, at);
    read(code, 0, state_, rewritten_line_);
    if (!rewritten_line_.acts()) {
      if (bare(code).empty() || dialect_.given(code)) return;
      say(Id::mark_damaged, "a mark on a line that does nothing: " + shown(code));
      return;
    }
    if (rewritten_line_.words.is('M', 110)) return;
    block_.acts();
    if (!is_followed(rewritten_line_) && !dialect_.given(code)) {
      say(Id::inserted_unknown, shown(code));
    }
    if (rewritten_line_.selects()) say(Id::select_added, shown(code));
    if (rewritten_line_.effect.moves) inserted_move(before, at);
    replay_.act(rewritten_line_, state_.plane, at);
    if (at.steps != nullptr) replay_.finish_step(code, at);
  }

  void inserted_target(const Written& target, std::string_view code, const LineContext& at) {
    block_.acts();
    const std::size_t head =
        target.heater ? heads_.of_heater(*target.heater) : heads_.of_tool(target.tool.value_or(-1));
    if (head == kNone) {
      say(Id::inserted_unknown, "no toolhead has the heater of " + shown(code));
      return;
    }
    Operation operation;
    operation.kind = Operation::Kind::set_target;
    operation.temp_c = std::max(0.0, target.temp_c);
    operation.waits = target.waits;
    if (interpreter_.rests_at(code)) replay_.machine().stop();
    replay_.insert_command(head, operation, at, target.for_least);
  }

  void inserted_move(const gcode::State& before, const LineContext& at) {
    const ToolChanger& changer = replay_.machine().changer();
    const std::size_t head = changer.mounted();
    block_.insert_move(rewritten_line_.effect, before, state_, at.steps,
                       head == kNone ? nullptr : &heads_[head], changer.tool(), number_);
  }

  // The sequence that an inserted line is of, by its mark; nullptr: of none.
  const rules::Sequence* sequence_of(std::string_view text) {
    std::string_view reason = text;
    reason.remove_prefix(
        std::min(reason.size(), reason.find(rewrite::kInserted) + rewrite::kInserted.size()));
    const rules::Sequence* steps = replay_.sequence_of(reason);
    if (steps != nullptr) {
      block_.steps(*steps);
    } else if (reason.substr(0, rewrite::kStep.size()) == rewrite::kStep) {
      say(Id::mark_damaged, "names no sequence of the rule file: " + shown(reason));
    }
    return steps;
  }

  // Nothing but targets may be disabled.
  void disabled(const Line& original) {
    read_original(original, block_.original_state());
    original_numbers(original_line_.words);
    follow_disabled();
    if (original_line_.acts()) block_.acts();
    difference_.disabled(original_line_, original.text, number_);
  }

  // Follows the disabled line, and says so where it waits.
  void follow_disabled() {
    const Operation* wait = nullptr;
    for (const Operation& operation : original_line_.operations) {
      if (operation.kind == Operation::Kind::set_target && operation.waits) wait = &operation;
    }
    const std::size_t head = wait == nullptr ? kNone : original_.head_of(wait->heater);
    if (head == kNone) return follow_original(original_line_);
    const double before_c = original_.target_c(head);
    const double for_c = wait->temp_c.value_or(before_c);
    const bool needless =
        wait->waits_for_cooling && original_.has_cooled(head, for_c, replay_.machine().now_s());
    follow_original(original_line_);
    if (needless) return;
    replay_.remove_wait(head, for_c, before_c, wait->waits_for_cooling, number_);
  }

  // The texts part without a mark.
  void differs(const Step& step) {
    const bool has_original = step.kind != Step::Kind::added;
    const bool has_rewritten = step.kind != Step::Kind::lost;
    original_line_.clear();
    rewritten_line_.clear();
    if (has_original) {
      read_original(step.original, block_.original_state());
      original_numbers(original_line_.words);
      follow_original(original_line_);
    }
    if (has_rewritten) {
      read(step.rewritten.text, has_original ? step.original.number : 0, state_, rewritten_line_);
      judge_numbers(rewritten_line_.words, false);
    }
    if (difference_.name(step, original_line_, rewritten_line_, number_)) block_.acts();
    if (has_rewritten) replay_.act(rewritten_line_, state_.plane, context(Side::added));
  }

  void judge_hashes(const Pairing& pairing) {
    Findings& findings = report_.findings;
    if (!header_) {
      if (report_.inserted + report_.disabled > 0 && findings.count(Id::mark_damaged) == 0) {
        findings.add(Id::mark_damaged, 1, "there are marks, but the first line is no header");
      }
      return;
    }
    if (pairing.restored_bytes() == header_->bytes &&
        pairing.restored_hash() == header_->original) {
      return;
    }
    findings.add(Id::original_hash, 0,
                 fmt::format("the first line says {} bytes; undoing the marks gives {}{}",
                             header_->bytes, pairing.restored_bytes(),
                             pairing.restored_bytes() == header_->bytes ? ", other ones" : ""));
  }

  const rules::Rules& rules_;
  const Options& options_;
  const machine::Interpreter interpreter_;
  const Dialect dialect_;
  Heads heads_;
  Report report_;
  OriginalSide original_;
  Replay replay_;
  EditBlock block_;
  Difference difference_;
  LineCount count_;  // of the rewritten text
  std::optional<rewrite::Header> header_;
  bool marked_ = false;  // by a first line: something was planned

  std::uint64_t number_ = 0;  // of the present line
  gcode::State state_;        // of the rewritten text
  InterpretedLine original_line_, rewritten_line_;
};

// As if the job had always named the tools that the marks have moved its filaments to.
Result<Report> check_moved(Moved& moved, ByteSource* original, ByteSource& rewritten,
                           const rules::Rules& rules, const Options& options,
                           const rules::Recogniser& recogniser) {
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
  auto report = Check(as_loaded, options, recogniser).run(before ? &*before : nullptr, after);
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
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) return std::move(recogniser.error());
  if (original != nullptr) {
    auto header = header_of(rewritten);
    if (!header) return std::move(header.error());
    if (*header && (*header)->bytes != original->size()) return of_another_original();
  }
  auto moved = read_moved(rewritten, rules, *recogniser);
  if (!moved) return std::move(moved.error());
  if (!*moved) return Check(rules, options, *recogniser).run(original, rewritten);
  return check_moved(**moved, original, rewritten, rules, options, *recogniser);
}

}  // namespace forewarm::check
