#include "report/places.h"

#include <catch2/catch.hpp>

#include "help/jobs.h"

using namespace forewarm;
using namespace forewarm::report;

namespace {

struct Case {
  rules::Rules rules = test::rules_of(test::kTwoHeads);
  std::string text;
  job::Job job;
  plan::Plan plan;

  explicit Case(std::string of) : text(std::move(of)), job(test::scan_of(text, rules)) {
    auto made = plan::make(job, rules, rules::Policy::lookahead);
    if (!made) FAIL(render(made.error()));
    plan = std::move(*made);
  }
  [[nodiscard]] TextRange at(const std::string& line, std::size_t from = 0) const {
    const std::size_t offset = text.find(line, from);
    if (offset == std::string::npos) FAIL(line);
    return {offset, offset};
  }
};

// Two layers; the second T0 changes nothing.
Case two_layers() {
  return Case("G21\nG90\nM83\nM104 T0 S200\nM104 T1 S210\nT0\nM109 T0 S200\nG1 Z0.2 F600\n" +
              test::print(600) + "M104 T0 S150\nT1\nM109 T1 S210\nG1 Z0.4 F600\n" +
              test::print(900) + "T0\nT0\nM109 T0 S200\nG1 E1 ; after\n" + test::print(60));
}

}  // namespace

TEST_CASE("a place in words") {
  const Case c = two_layers();
  const Places places(c.job, c.plan);
  CHECK(places.words({0, 0}) == "before layer 1, 0:00:00");
  const std::string first = places.words(c.at("M104 T0 S150"));
  CHECK(first.starts_with("layer 1, 0:1"));
  CHECK(first.ends_with(", T0 to T1, change 2"));
  // In the middle of a use, no change is near.
  const std::size_t middle = c.text.find('\n', c.text.find("G1 Z0.4") + 3000) + 1;
  const std::string second = places.words({middle, middle});
  CHECK(second.starts_with("layer 2, 0:"));
  CHECK(second.ends_with(", T1"));
  // Over a whole use, both of its changes.
  const std::string both = places.words({c.at("T1\nM109").first, c.at("T0\nT0\n").first});
  CHECK(both.ends_with(", T0 to T0, changes 2 to 3"));
  // One that changes nothing is named neither before nor after one that does.
  const std::uint64_t third = c.at("T0\nT0\n").first;
  CHECK(places.words({third, third + 6}).ends_with(", T1 to T0, change 3"));
}

TEST_CASE("times of places are the plan's, waits included") {
  const Case c = two_layers();
  const Places places(c.job, c.plan);
  REQUIRE(c.plan.change_at_s.size() == 4);
  for (const std::size_t i : {1U, 2U}) {
    const job::ToolChange& change = c.job.tool_changes[i];
    const std::string words = places.words({change.at.offset, change.at.offset});
    CAPTURE(words);
    const auto seconds = [](const std::string& clock) {
      return std::stoi(clock) * 3600 + std::stoi(clock.substr(clock.find(':') + 1)) * 60 +
             std::stoi(clock.substr(clock.rfind(':') + 1));
    };
    const std::size_t comma = words.find(", ");
    const std::string clock = words.substr(comma + 2, words.find(',', comma + 2) - comma - 2);
    CHECK(std::abs(seconds(clock) - c.plan.change_at_s[i]) <= 2);
  }
}

TEST_CASE("where a change is") {
  const Case c = two_layers();
  const Places places(c.job, c.plan);
  // From the last filament before it to the first after it.
  CHECK(places.change(2).first <= c.at("M104 T0 S150").first);
  CHECK(places.change(2).first > c.at("M104 T0 S150").first - 10);
  CHECK(places.change(2).last > c.at("G1 Z0.4").first);
  CHECK(places.change(2).last < c.at("G1 Z0.4").first + 60);
  // As far as the next change.
  const std::uint64_t third = c.at("T0\nT0\n").first;
  CHECK(places.change(3).first <= third);
  CHECK(places.change(3).first > third - 10);
  CHECK(places.change(3).last == third + 3);
  // A redundant one is its line.
  CHECK(c.job.tool_changes[3].kind == job::ChangeKind::redundant);
  CHECK(places.change(4).first == third + 3);
  CHECK(places.change(4).last == third + 6);
}

TEST_CASE("where a plan does something in a gap") {
  const Case c = two_layers();
  const Places places(c.job, c.plan);
  std::size_t lines = 0;
  for (std::size_t n = 1; n <= c.plan.gaps.size(); ++n) {
    const plan::GapPlan& gap = c.plan.gaps[n - 1];
    const std::uint64_t from = gap.before ? c.job.uses[*gap.before].last_end : c.job.start->offset;
    const std::uint64_t to = gap.after ? c.job.uses[*gap.after].first.offset : c.job.bytes;
    std::uint64_t last = 0;
    for (const TextRange& range : places.gap(n)) {
      CHECK(from <= range.first);
      CHECK(range.last <= to);
      CHECK(last <= range.first);
      last = range.first;
      ++lines;
    }
  }
  // All commands and removed targets belong to some gap here, but what stands at the start.
  std::size_t at_start = 0;
  for (const plan::Command& command : c.plan.commands) {
    at_start += command.kind == plan::CommandDraft::Kind::raw ? 1 : 0;
  }
  CHECK(lines + at_start >= c.plan.commands.size() + c.plan.disabled.size() - 1);
  // The gap of ash: standby where it is parked, the preheat later, the wait at the end.
  std::size_t of_ash = 0;
  for (std::size_t n = 1; n <= c.plan.gaps.size(); ++n) {
    if (c.plan.gaps[n - 1].head != 0 || !c.plan.gaps[n - 1].after) continue;
    const auto ranges = places.gap(n);
    REQUIRE(ranges.size() >= 3);
    CHECK(ranges.front().first == c.at("M104 T0 S150").first);
    CHECK(ranges.back().first > c.at("G1 Z0.4").first);
    ++of_ash;
  }
  CHECK(of_ash == 1);
}

TEST_CASE("a job without changes has places all the same") {
  const Case c("G21\nG90\nM83\nM104 T0 S200\nM109 T0 S200\nG1 Z0.2 F600\n" + test::print(20));
  const Places places(c.job, c.plan);
  CHECK(places.words({0, 0}).find("0:00:00") != std::string::npos);
  CHECK(places.words({c.text.size(), c.text.size()}).starts_with("layer 1, 0:0"));
}
