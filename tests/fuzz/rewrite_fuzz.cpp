// Bytes as a job, written by a grammar or taken as they are: scanned, planned, rewritten, restored.
#include <algorithm>
#include <cmath>
#include <optional>

#include "apply_diff.h"
#include "fuzz_help.h"
#include "gcode/lines.h"
#include "gcode/state.h"
#include "gcode/words.h"
#include "job/scan.h"
#include "job_grammar.h"
#include "plan/plan.h"
#include "rewrite/diff.h"
#include "rewrite/marks.h"
#include "rewrite/restore.h"
#include "rewrite/rewrite.h"
#include "rule_sets.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

// Reads of one byte are for the lines target: here they would take most of the time.
std::size_t piece_of(unsigned pick) {
  constexpr std::array<std::size_t, 6> sizes{5, 19, 64, 257, 1024, 4096};
  return sizes[pick % sizes.size()];
}

// Puts the pieces together, and sees that they are what they promise to be.
class Strict final : public rewrite::EditSink {
 public:
  explicit Strict(std::string_view original) : original_(original) {}

  Status keep(std::uint64_t from, std::uint64_t to) override {
    take(from, to);
    return success();
  }
  Status disable(std::uint64_t from, std::uint64_t to) override {
    const std::string_view line = original_.substr(from, to - from);
    require(line.find('\n') >= line.size() - std::min<std::size_t>(line.size(), 1),
            "one line is disabled", line);
    text_ += rewrite::kDisabled;
    take(from, to);
    return success();
  }
  Status insert(std::string_view line, std::string_view joins) override {
    require(joins.empty() || (!text_.empty() && text_.back() != '\n'), "an open line is joined",
            line);
    std::string_view body = line;
    if (!body.empty() && body.back() == '\n') body.remove_suffix(1);
    if (!body.empty() && body.back() == '\r') body.remove_suffix(1);
    require(body.find_first_of(std::string_view("\r\n\0", 3)) == std::string_view::npos,
            "an inserted line is one line", line);
    require(text_.empty() == rewrite::read_header(body).has_value(), "the header is the first line",
            line);
    if (!text_.empty()) {
      require(rewrite::is_inserted(body) && !rewrite::is_disabled(body), "a line is marked", line);
    }
    text_.append(joins).append(line);
    return success();
  }
  void done() const { require(at_ == original_.size(), "all of the original is there"); }
  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  void take(std::uint64_t from, std::uint64_t to) {
    require(from == at_ && from < to && to <= original_.size(), "pieces follow each other");
    text_ += original_.substr(from, to - from);
    at_ = to;
  }
  std::string_view original_;
  std::uint64_t at_ = 0;
  std::string text_;
};

// The job rewritten; nothing where it is refused.
struct Rewritten {
  std::optional<std::string> text;
  std::string refused;
};

void check_figures(const plan::Plan& plan) {
  const plan::Figures& f = plan.figures;
  for (const double value : {f.duration_s, f.wait_s, f.hot_idle_s, f.energy_wh, f.peak_heating_w}) {
    require(std::isfinite(value) && value >= 0, "a figure is finite and no less than 0",
            std::to_string(value));
  }
  for (const plan::GapPlan& g : plan.gaps) {
    for (const double value :
         {g.from_s, g.to_s, g.dip_c, g.wait_s, g.hot_idle_s, g.least_wait_s, g.least_hot_idle_s}) {
      require(std::isfinite(value), "a gap's figure is finite", g.reason);
    }
    require(!g.preheat_at_s || std::isfinite(*g.preheat_at_s), "a preheat is at a time", g.reason);
  }
}

Rewritten rewritten(std::string_view text, const rules::Rules& rules, rules::Policy policy,
                    std::size_t most, std::size_t chunk) {
  TextSource source(text, most);
  job::ScanOptions options;
  options.chunk = chunk;
  const auto job = job::scan(source, rules, options);
  if (!job) {
    require_fit(job.error(), Error::Kind::refused);
    return {std::nullopt, render(job.error())};
  }
  require(job->bytes == text.size(), "every byte was read");
  require(std::isfinite(job->duration_s) && job->duration_s >= 0, "a job takes its time");
  const auto plan = plan::make(*job, rules, policy);
  if (!plan) {
    require_fit(plan.error(), Error::Kind::refused);
    return {std::nullopt, render(plan.error())};
  }
  const std::string broken_one = plan::broken_invariant(*job, *plan);
  require(broken_one.empty(), "the plan's invariants: " + broken_one);
  check_figures(*plan);
  Strict pieces(text);
  const auto edits = rewrite::edits_of(*job, *plan, rules);
  const Status written = rewrite::rewrite(source, *job, edits, rules.hash, pieces);
  require(written.ok(), "what was planned can be written");
  pieces.done();
  return {pieces.text(), ""};
}

// What a firmware makes of a text: modal state, and whether line numbers follow each other.
struct Followed {
  gcode::State state;
  bool in_order = true;
};
Followed followed(std::string_view text) {
  TextSource source(text);
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, text.size() + 1);
  gcode::RawLine line;
  gcode::Words words;
  gcode::Effect effect;
  Followed out;
  std::optional<std::int64_t> count;
  while (*reader.next(line)) {
    gcode::parse(line.text, words);
    gcode::apply(words, out.state, effect);
    if (!words.checksum_ok) out.in_order = false;
    if (words.is('M', 110)) {
      if (words.given('N')) {
        count = std::int64_t(std::clamp(words.value('N'), -1e15, 1e15));
      } else if (words.numbered) {
        count = words.number;
      }
    } else if (words.numbered) {
      if (count && words.number != *count + 1) out.in_order = false;
      count = words.number;
    }
  }
  return out;
}

// But for rounding, for filament that sequences have moved without the job's knowing, and for an
// arc's kind of motion, which nothing puts back.
bool same(const gcode::State& a, const gcode::State& b) {
  const auto near = [](double x, double y) {
    return std::abs(x - y) <= 2e-6 + 1e-12 * std::abs(x);
  };
  gcode::State b_like_a = b;
  for (std::size_t i = 0; i < a.position.size(); ++i) {
    if (!near(a.position[i], b.position[i])) return false;
    if (i != gcode::kE && !near(a.offset[i], b.offset[i])) return false;
  }
  if (!near(a.feed_mm_s, b.feed_mm_s)) return false;
  b_like_a.position = a.position;
  b_like_a.offset = a.offset;
  b_like_a.feed_mm_s = a.feed_mm_s;
  if (a.motion >= 2 && b.motion == 1) b_like_a.motion = a.motion;
  return a == b_like_a;
}

void check_round_trip(std::string_view text, const std::string& result, std::size_t most) {
  TextSource source(result, most);
  const auto header = rewrite::header_of(source);
  require(header && *header && (*header)->bytes == text.size(), "a rewritten job has its header");
  TextSink back;
  const Status restored = rewrite::restore(source, "job", back);
  require(restored.ok(), "a rewritten job can be restored",
          restored.ok() ? "" : render(restored.error()));
  require(back.text() == text, "restored, it is the original", back.text());
}

void check_diff(std::string_view text, const std::string& result) {
  TextSource left(text);
  TextSource right(result);
  TextSink out;
  const auto differ = rewrite::diff(left, right, {"job", "job"}, out);
  require(differ && *differ, "a rewritten job differs");
  const Applied applied = apply_diff(text, out.text());
  require(applied.wrong.empty() && applied.text == result, "the diff applies: " + applied.wrong,
          out.text());
}

}  // namespace

// The first three bytes pick rules, policy and boundaries; the rest is a job, or a program for one.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using rules::Policy;
  constexpr std::array<Policy, 8> policies{Policy::lookahead, Policy::lookahead, Policy::lookahead,
                                           Policy::lookahead, Policy::lookahead, Policy::hold,
                                           Policy::timers,    Policy::as_sliced};
  Cursor in(text_of(data, size));
  const RuleSet& set = rule_set(in.byte());
  const unsigned manner = in.byte();
  const unsigned chunks = in.byte();
  const Policy policy = policies[manner % policies.size()];
  const bool raw = (manner & 0x80U) != 0;
  const std::string text =
      raw ? std::string(in.rest()) : job_text(in.rest(), {set.tools, std::size_t{1} << 11U});

  const Rewritten once = rewritten(text, set.rules, policy, SIZE_MAX, text.size() + 1);
  const Rewritten again =
      rewritten(text, set.rules, policy, piece_of(chunks), piece_of(chunks / 6));
  require(once.text == again.text, "the same bytes wherever reads end",
          once.refused + again.refused);
  // What must not be in a job at all is seen as soon as it is read, and may be a whole read ahead.
  if (text.find('\0') == std::string::npos && text.find(";fw") == std::string::npos) {
    require(once.refused == again.refused, "the same refusal wherever reads end", again.refused);
  }
  if (!once.text) return 0;

  check_round_trip(text, *once.text, piece_of(chunks / 36));
  check_diff(text, *once.text);
  // As it was, but for the lines that are put in and taken out: those change no mode.
  const Followed before = followed(text);
  const Followed after = followed(*once.text);
  require(same(before.state, after.state), "the modal state at the end is the same", *once.text);
  require(after.in_order || !before.in_order, "line numbers still follow each other", *once.text);

  // Rewritten as it stands it is refused, so that no mark can be mistaken.
  if (once.text->find(";fw") != std::string::npos) {
    TextSource source(*once.text);
    require(!job::scan(source, set.rules, {}).ok() || text.find(";fw") != std::string::npos,
            "marks are seen");
  }
  return 0;
}
