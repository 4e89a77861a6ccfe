// One job, however it is read: with a thread that reads ahead or without, in blocks of any size,
// and straight moves the fast way or like every other line.
#include <bit>
#include <catch2/catch.hpp>
#include <filesystem>
#include <random>
#include <stdexcept>
#include <string>

#include "fuzz/job_grammar.h"
#include "fuzz/rule_sets.h"
#include "help/files.h"
#include "help/jobs.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

// All of a Job, numbers to the bit; or what was wrong.
std::string everything(const Result<job::Job>& got) {
  if (!got) return render(got.error());
  const job::Job& j = *got;
  std::string out;
  const auto n = [&out](auto... values) {
    ((out += std::to_string(std::uint64_t(values)) + ' '), ...);
    out += '\n';
  };
  const auto bits = [](double v) { return std::bit_cast<std::uint64_t>(v); };
  n(j.bytes, j.lines, j.hash, j.numbered, j.heads.size(), j.layers, bits(j.motion_s),
    bits(j.duration_s));
  for (const job::ToolChange& s : j.tool_changes) {
    n(s.at.offset, bits(s.at.time_s), s.end_offset, bits(s.end_s), s.line, s.tool, s.head, s.kind,
      bits(s.park_s + s.pick_s + s.exchange_s));
  }
  for (const job::Target& t : j.targets) {
    n(t.at.offset, bits(t.at.time_s), t.end_offset, t.line, t.head, t.has_temp, bits(t.temp_c),
      t.waits, t.cooling, t.alone);
  }
  for (const job::ToolUse& s : j.uses) {
    n(s.head, s.tool, int(s.kind), s.select, s.first.offset, bits(s.first.time_s), s.first_line,
      s.extruded_end, s.last_end, bits(s.last_end_s), bits(s.work_c.value_or(-1)),
      bits(s.last_c.value_or(-1)));
  }
  if (j.start) n(j.start->offset, bits(j.start->time_s));
  for (const job::Material& m : j.materials) {
    n(m.tool, bits(m.part_mm), bits(m.purge_mm), m.exchanges, bits(m.exchange_purge_mm3));
  }
  n(j.index.size());
  for (double t = 0; t < j.duration_s; t += std::max(1.0, j.duration_s / 500)) {
    n(j.index.last_where([&](const job::Place& p) { return p.time_s <= t; }).offset);
  }
  return out;
}

// A pattern that no line fits, but that has to be asked of every move: then none is read fast.
rules::Rules asking_moves(rules::Rules rules) {
  rules.recognise.push_back({"no such line$", rules::Recognise::As::layer});
  return rules;
}

std::string read(const std::string& text, const rules::Rules& rules, unsigned threads,
                 std::size_t chunk) {
  TextSource source(text);
  job::ScanOptions options;
  options.threads = threads;
  options.thread_from = 0;
  options.chunk = chunk;
  return everything(job::scan(source, rules, options));
}

void compare(const std::string& text, const rules::Rules& rules) {
  const std::string one = read(text, rules, 1, 1U << 20U);
  CHECK(read(text, rules, 2, 1U << 20U) == one);
  CHECK(read(text, asking_moves(rules), 1, 1U << 20U) == one);
  // Of several things that are wrong with a job, which is seen first depends on the block's size.
  const std::string small = read(text, rules, 1, 1000);
  CHECK(read(text, rules, 2, 1000) == small);
  if (one.find(": ") == std::string::npos) CHECK(small == one);
}

}  // namespace

TEST_CASE("the fixtures are the same job however they are read") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  for (const auto& entry : std::filesystem::directory_iterator(FOREWARM_FIXTURES)) {
    if (entry.path().extension() != ".gcode") continue;
    INFO(entry.path());
    compare(test::get(entry.path()), rules);
  }
}

TEST_CASE("jobs of all manners are the same however they are read") {
  std::mt19937 random(11);
  for (unsigned round = 0; round < 300; ++round) {
    std::string program;
    for (auto n = 20 + random() % 600; n > 0; --n) program += char(random());
    const fuzz::RuleSet& set = fuzz::rule_set(round);
    const std::string text = fuzz::job_text(program, {set.tools, 1 << 14});
    INFO(set.what << '\n' << text);
    compare(text, set.rules);
  }
}

TEST_CASE("what goes wrong while reading ahead comes out in its turn") {
  struct Failing final : ByteSource {
    explicit Failing(bool throws) : throws_(throws) {}
    [[nodiscard]] std::uint64_t size() const override { return 1'000'000; }
    Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override {
      if (offset > 500'000 && throws_) throw std::runtime_error("no memory");
      if (offset > 500'000) return Error{Error::Kind::io, "the disk is gone"};
      for (std::size_t i = 0; i < into.size(); ++i) into[i] = (offset + i) % 20 == 19 ? '\n' : ';';
      return into.size();
    }
    bool throws_;
  };
  const auto rules = rules_of(kTwoHeads);
  for (const unsigned threads : {1U, 2U}) {
    job::ScanOptions options;
    options.threads = threads;
    options.thread_from = 0;
    options.chunk = 4096;
    Failing fails(false);
    const auto job = job::scan(fails, rules, options);
    REQUIRE_FALSE(job);
    CHECK(job.error().message == "the disk is gone");
    Failing throws(true);
    CHECK_THROWS_WITH(static_cast<void>(job::scan(throws, rules, options).ok()), "no memory");
  }
}

TEST_CASE("a job refused half-way leaves no reader behind") {
  const auto rules = rules_of(kTwoHeads);
  std::string text = "T0\nG1 X1 E1\nT7\n";
  for (int i = 0; i < 20'000; ++i) text += "G1 X" + std::to_string(i % 100) + " E1\n";
  CHECK(read(text, rules, 2, 256) == read(text, rules, 1, 256));
  CHECK(read(text, rules, 2, 256).find("no toolhead serves T7") != std::string::npos);
  text[text.size() / 2] = '\0';
  text.replace(11, 3, ";T7");
  CHECK(read(text, rules, 2, 256) == read(text, rules, 1, 256));
  CHECK(read(text, rules, 2, 256).find("NUL") != std::string::npos);
}
