// Time of each stage by itself, on the job that $FOREWARM_BENCH_JOB names, else the trail map, by
// config/demo.toml. Every stage is run once and its output verified before any is timed; exit 1 if
// one is wrong. What a stage writes goes nowhere when it is timed: of emit, that is without moving
// the bytes that are kept, which the kernel does in the program. MB/s are of the original, for
// check, diff and restore of the rewrite.
#include <benchmark/benchmark.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "check/check.h"
#include "fuzz/apply_diff.h"
#include "gcode/lines.h"
#include "gcode/state.h"
#include "gcode/words.h"
#include "job/scan.h"
#include "motion/move_timer.h"
#include "plan/plan.h"
#include "rewrite/diff.h"
#include "rewrite/restore.h"
#include "rewrite/rewrite.h"
#include "rules/load.h"

namespace {

using namespace forewarm;

[[noreturn]] void wrong(const std::string& what) {
  std::fprintf(stderr, "stages_bench: %s\n", what.c_str());
  std::exit(1);
}
void expect(bool good, const char* what) {
  if (!good) wrong(what);
}
template <class T>
T must(Result<T> result) {
  if (!result) wrong(render(result.error()));
  return std::move(*result);
}

std::string get(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) wrong("cannot read " + path);
  return {std::istreambuf_iterator<char>(in), {}};
}

struct Count final : motion::MoveTimer::Listener {
  std::uint64_t moves = 0;
  double seconds = 0;
  void timed(std::span<const motion::Timed> batch) override {
    for (const motion::Timed& m : batch) {
      expect(m.tag == moves++, "the clock gives moves out of order");
      seconds += m.seconds;
    }
  }
};

// What a stage takes and what it must give.
struct World {
  std::string original, rewritten;
  rules::Rules rules;
  job::Job job;
  plan::Plan plan;
  std::vector<rewrite::Edit> edits;
  std::vector<std::string> lines;
  std::vector<motion::Move> moves;  // straight ones
};
std::unique_ptr<const World> world;

std::uint64_t read_lines(const World& w, std::uint64_t& bytes) {
  TextSource source(w.original);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  std::uint64_t lines = 0;
  while (must(reader.next(line))) {
    ++lines;
    bytes += line.text.size() + line.ending.size();
  }
  return lines;
}

std::uint64_t read_words(const World& w) {
  gcode::Words words;
  std::uint64_t selects = 0;
  for (const std::string& line : w.lines) {
    gcode::parse(line, words);
    if (words.kind == gcode::LineKind::words && words.has('T') && !words.has('M')) ++selects;
  }
  return selects;
}

Count time_moves(const World& w) {
  Count count;
  motion::MoveTimer clock(motion::Limits{}, count);
  std::uint64_t tag = 0;
  for (const motion::Move& move : w.moves) clock.move(move, tag++);
  clock.stop();
  expect(count.moves == clock.moves_taken(), "the clock keeps moves back");
  benchmark::DoNotOptimize(clock.now_s());
  return count;
}

job::Job scan(const World& w) {
  TextSource source(w.original);
  return must(job::scan(source, w.rules));
}

void emit(const World& w, ByteSink& sink) {
  TextSource source(w.original);
  rewrite::ToSink pieces(source, sink);
  (void)must(rewrite::rewrite(source, w.job, rewrite::edits_of(w.job, w.plan, w.rules),
                              w.rules.hash, pieces));
}

check::Report replay(const World& w) {
  TextSource original(w.original), rewritten(w.rewritten);
  return must(check::check(&original, rewritten, w.rules));
}

void differ(const World& w, ByteSink& sink) {
  TextSource original(w.original), rewritten(w.rewritten);
  (void)must(rewrite::diff(original, rewritten, {"job", "job"}, sink));
}

void restore(const World& w, ByteSink& sink) {
  TextSource source(w.rewritten);
  (void)must(rewrite::restore(source, "job", sink));
}

// What a stage writes. When it is timed it writes to nowhere: to make room is not its business.
std::string text_of(const World& w, void (*stage)(const World&, ByteSink&)) {
  TextSink sink;
  stage(w, sink);
  return sink.text();
}

void take_lines_and_moves(World& w) {
  TextSource source(w.original);
  gcode::LineReader reader(source);
  gcode::RawLine line;
  gcode::Words words;
  gcode::State state;
  gcode::Effect effect;
  while (must(reader.next(line))) {
    w.lines.emplace_back(line.text);
    gcode::parse(line.text, words);
    gcode::apply(words, state, effect);
    if (!effect.moves || effect.arc) continue;
    motion::Move move;
    move.delta = effect.delta;
    move.length_mm = std::hypot(move.delta[0], move.delta[1], move.delta[2]);
    move.feed_mm_s = effect.feed_mm_s;
    w.moves.push_back(move);
  }
}

std::unique_ptr<const World> verified_world() {
  auto w = std::make_unique<World>();
  const std::string folder = FOREWARM_SOURCE_DIR;
  const char* named = std::getenv("FOREWARM_BENCH_JOB");
  w->original = get(named != nullptr ? named : folder + "/fixtures/trail_map.gcode");
  w->rules = must(rules::load(get(folder + "/config/demo.toml"), "demo.toml"));
  take_lines_and_moves(*w);
  w->job = scan(*w);
  w->plan = must(plan::make(w->job, w->rules, w->rules.gap.policy));
  w->rewritten = text_of(*w, emit);

  std::uint64_t bytes = 0;
  expect(read_lines(*w, bytes) == w->job.lines, "lines: another number than the scan's");
  expect(bytes == w->original.size(), "lines: bytes are lost");
  expect(read_words(*w) == w->job.tool_changes.size(), "words: another number of selects");
  const Count count = time_moves(*w);
  expect(count.moves == w->moves.size() && count.seconds > 0, "clock: moves are lost");
  expect(w->job.bytes == w->original.size(), "scan: bytes are lost");
  expect(plan::broken_invariant(w->job, w->plan).empty(), "plan: an invariant is broken");
  expect(w->plan.changes_anything(), "plan: there is nothing to do");
  expect(text_of(*w, restore) == w->original, "restore(rewrite(job)) is not the job");
  const fuzz::Applied applied = fuzz::apply_diff(w->original, text_of(*w, differ));
  expect(applied.wrong.empty() && applied.text == w->rewritten,
         "the diff does not give the rewrite");
  const check::Report report = replay(*w);
  expect(report.moves > 0 && report.lines > w->job.lines, "check: lines are lost");
  for (const check::Finding& f : report.findings.list()) {
    // How well gaps are used is between planner and check; here the rewrite must only be sound.
    if (f.id < check::Id::hot_idle_limit) wrong("check: " + f.message);
  }
  return w;
}

template <class Run>
void measure(benchmark::State& state, std::size_t bytes, Run run) {
  for (auto _ : state) benchmark::DoNotOptimize(run());
  state.SetBytesProcessed(std::int64_t(state.iterations()) * std::int64_t(bytes));
}

void add(const char* name, bool rewritten, void (*run)(const World&)) {
  benchmark::RegisterBenchmark(name, [=](benchmark::State& state) {
    const World& w = *world;
    measure(state, rewritten ? w.rewritten.size() : w.original.size(), [&] {
      run(w);
      return 0;
    });
  })->Unit(benchmark::kMillisecond);
}

void to_nowhere(const World& w, void (*stage)(const World&, ByteSink&)) {
  rewrite::NullSink sink;
  stage(w, sink);
}

template <class T>
void use(T value) {
  benchmark::DoNotOptimize(value);
}

}  // namespace

int main(int argc, char** argv) {
  world = verified_world();
  add("lines", false, [](const World& w) {
    std::uint64_t bytes = 0;
    use(read_lines(w, bytes));
  });
  add("words", false, [](const World& w) { use(read_words(w)); });
  add("clock", false, [](const World& w) { use(time_moves(w).seconds); });
  add("scan", false, [](const World& w) { use(scan(w).lines); });
  add("plan", false, [](const World& w) {
    use(must(plan::make(w.job, w.rules, w.rules.gap.policy)).figures.wait_s);
  });
  add("emit", false, [](const World& w) { to_nowhere(w, emit); });
  add("check", true, [](const World& w) { use(replay(w).moves); });
  add("diff", true, [](const World& w) { to_nowhere(w, differ); });
  add("restore", true, [](const World& w) { to_nowhere(w, restore); });
  benchmark::Initialize(&argc, argv);
  if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 2;
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}
