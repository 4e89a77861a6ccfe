// What a job takes from its spools, and in which line one ends: small jobs against sums by hand.
#include "job/spools.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "help/dice.h"
#include "help/jobs.h"
#include "job/scan.h"

using namespace forewarm;
using job::InsertedFeed;
using job::SpoolEnd;
using test::kTwoHeads;
using test::rules_of;
using test::scan_of;

namespace {

const std::string kHot = "M104 T0 S200\nM104 T1 S200\n";

job::Job watched(const std::string& text, const job::WatchedSpools& spools,
                 const std::string& rules = kTwoHeads) {
  TextSource source(text);
  job::ScanOptions options;
  options.spools = &spools;
  auto job = job::scan(source, rules_of(rules), options);
  REQUIRE(job.ok());
  return std::move(*job);
}

// The line in which the spool of T0 ends with so much on it; 0: none.
std::uint64_t line_of(const std::string& text, double usable_mm) {
  const auto job = watched(text, {{{0, usable_mm}}, {}});
  REQUIRE(job.spool_ends.size() <= 1);
  return job.spool_ends.empty() ? 0 : job.spool_ends.front().line;
}

double most_mm(const std::string& text, int tool = 0) {
  return job::taken(scan_of(text, rules_of(kTwoHeads)))[tool].most_mm;
}

}  // namespace

TEST_CASE("what is off a spool at most is what a job needs of it") {
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nG1 X2 E4\n") == Approx(7));
  CHECK(most_mm(kHot + "T0\nM82\nG92 E0\nG1 X1 E3\nG1 X2 E4\n") == Approx(4));
  CHECK(most_mm(kHot + "T0\nM82\nG1 X1 E3\nG92 E0\nG1 X2 E4\n") == Approx(7));
  // Pulled back and pushed again: nothing new. Pulled at the end: it is off the spool all the same.
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nG1 E-2\nG1 E2\nG1 X2 E1\nG1 E-3\n") == Approx(4));
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nG1 E-2\nG1 E2.5\nG1 E-2.5\n") == Approx(3.5));
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nM221 S50\nG1 X2 E4\n") == Approx(5));
  CHECK(most_mm(kHot + "T0\nG20\nM83\nG1 X1 E1\n") == Approx(25.4));
  CHECK(most_mm(kHot + "T0\nM83\nG2 X10 Y0 I5 J0 E6\n") == Approx(6));
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nT1\nG1 X1 E9\nT0\nG1 X2 E1\n") == Approx(4));
  CHECK(most_mm(kHot + "T0\nM83\nG1 X1 E3\nG91\nG1 X1 E2\nG90\nG1 X2 E1\n") == Approx(6));
  CHECK(most_mm("M104 S200\nM83\nG1 X1 E3\n") == Approx(3));  // T0's, before any select
}

TEST_CASE("an exchange takes what the feeder purges from the spool of what comes in") {
  const std::string rules = std::string(kTwoHeads);
  auto with_purge = rules_of(rules);
  with_purge.toolheads[1].exchange_purge_mm3 = 90;
  const auto job = scan_of(kHot + "T1\nM83\nG1 X1 E3\nT2\nG1 X1 E5\nT1\nG1 X2 E1\n", with_purge);
  const double purge_mm = 90 / (M_PI / 4 * 1.75 * 1.75);  // a cylinder
  CHECK(job::taken(job)[1].most_mm == Approx(4 + purge_mm));
  CHECK(job::taken(job)[2].most_mm == Approx(5 + purge_mm));
  CHECK(job::taken(job, {}, 2)[1].most_mm == Approx(3));  // up to the second select
  CHECK(job::taken(job, {}, 2).count(2) == 0);
  CHECK(job::taken(job, {}, 0).empty());
}

TEST_CASE("a spool ends in the line that takes more than is on it") {
  const std::string relative = kHot + "T0\nM83\nG1 X1 E3\nG1 E-2\nG1 E2\nG1 X2 E4\nG1 X3 E5\n";
  CHECK(line_of(relative, 0) == 5);
  CHECK(line_of(relative, 2.9) == 5);
  CHECK(line_of(relative, 3) == 8);  // what was pulled is pushed again
  CHECK(line_of(relative, 6.9999) == 8);
  CHECK(line_of(relative, 7) == 9);
  CHECK(line_of(relative, 11.999) == 9);
  CHECK(line_of(relative, 12) == 0);
  const std::string absolute =
      kHot + "T0\nM82\nG1 X1 E3\nG1 E1\nG1 E3\nG1 X2 E7\nG92 E0\nG1 X3 E5\n";
  CHECK(line_of(absolute, 2.9) == 5);
  CHECK(line_of(absolute, 3) == 8);
  CHECK(line_of(absolute, 7) == 10);
  CHECK(line_of(absolute, 12) == 0);
  const std::string others = kHot + "T0\nM83\nG1 X1 E3\nT1\nG1 X2 E50\nT0\nG1 X3 E1\n";
  CHECK(line_of(others, 3) == 9);
}

TEST_CASE("an end has its time and its layer") {
  // 10 mm/s over long ways: ramps are short, and known from the whole.
  const std::string text = kHot +
                           "T0\nM83\nG1 F600\nG1 Z0.2 F600\nG1 X100 E3\nG1 X200 E3\n"
                           "G1 Z0.4\nG1 X100 E3\nT1\nG1 X0 E1\n";
  const auto job = watched(text, {{{0, 6.5}, {1, 0.5}}, {}});
  REQUIRE(job.layers == 2);
  REQUIRE(job.spool_ends.size() == 2);
  CHECK(job.spool_ends[0].tool == 0);
  CHECK(job.spool_ends[0].line == 10);
  CHECK(job.spool_ends[0].layer == 2);
  CHECK(job.spool_ends[0].at.time_s == Approx(job.index
                                                  .around([&](const job::Place& p) {
                                                    return p.offset <= job.spool_ends[0].at.offset;
                                                  })
                                                  .first.time_s)
                                           .margin(0.3));
  CHECK(job.spool_ends[0].at.time_s > 20);
  CHECK(job.spool_ends[0].at.time_s < job.tool_changes[1].at.time_s - 9.9);
  CHECK(job.spool_ends[1].at.time_s >= job.tool_changes[1].end_s);
  CHECK(job.spool_ends[1].line == 12);
}

TEST_CASE("layers of an end are counted as the whole job's are") {
  const std::string rules =
      std::string(kTwoHeads) + "[[recognise]]\nmatch = '^; level'\nas = \"layer\"\n";
  const auto job =
      watched(kHot +
                  "T0\nM83\n; level\nG1 X1 E1\n; level\nG1 Z1 F600\nG1 X2 E1\n; level\n"
                  "G1 X3 E1\nG1 X4 E1\n",
              {{{0, 2.5}}, {}}, rules);
  REQUIRE(job.spool_ends.size() == 1);
  CHECK(job.spool_ends[0].line == 11);
  CHECK(job.spool_ends[0].layer == 3);
  CHECK(job.layers == 3);
}

TEST_CASE("an exchange may be what a spool has no more for") {
  auto rules = std::string(kTwoHeads);
  const std::string exchange = "exchange_s = 30\n";
  rules.insert(rules.find(exchange) + exchange.size(), "exchange_purge_mm3 = 90\n");
  const auto job =
      watched(kHot + "T1\nM83\nG1 X1 E3\nT2\nG1 X1 E5\nT1\nG1 X2 E1\n", {{{1, 20}}, {}}, rules);
  REQUIRE(job.spool_ends.size() == 1);
  CHECK(job.spool_ends[0].line == 8);
  CHECK(job.spool_ends[0].at.time_s == Approx(job.tool_changes[2].at.time_s));
}

TEST_CASE("what is inserted counts where it stands") {
  const std::string text = kHot + "T0\nM83\nG1 X1 E3\nT1\nG1 X2 E1\nT0\nG1 X3 E2\n";
  const auto at = [&](const std::string& line, std::size_t from = 0) {
    return std::uint64_t(text.find(line, from));
  };
  // Pulled 5 and 4 pushed before that, as T0 is put away; pushed 6 as it is back.
  const std::vector<InsertedFeed> fed = {{at("T1\n", at("E3")), 0, -1, 4, false},
                                         {at("G1 X3"), 0, 6, 6, true}};
  const auto job = scan_of(text, rules_of(kTwoHeads));
  CHECK(job::taken(job, fed)[0].most_mm == Approx(3 - 1 + 6 + 2));
  CHECK(job::taken(job, fed)[0].net_mm == Approx(3 - 1 + 6 + 2));
  const std::vector<InsertedFeed> pushes(fed.begin(), fed.begin() + 1);
  CHECK(job::taken(job, pushes)[0].most_mm == Approx(7));
  CHECK(job::taken(job, pushes)[0].net_mm == Approx(4));
  const auto end = [&](double usable_mm) -> SpoolEnd {
    const auto seen = watched(text, {{{0, usable_mm}}, fed});
    return seen.spool_ends.empty() ? SpoolEnd{} : seen.spool_ends.front();
  };
  CHECK(end(2).line == 5);
  CHECK_FALSE(end(2).inserted);
  CHECK(end(6).line == 6);  // 3 + 4, before it is put away
  CHECK(end(6).inserted);
  CHECK(end(7.5).line == 9);  // 2 + 6
  CHECK(end(7.5).inserted);
  CHECK(end(8).line == 9);
  CHECK_FALSE(end(8).inserted);
  CHECK(end(10).line == 0);
}

// Both ways to the most that is off a spool: visit by visit, and move by move.
TEST_CASE("random jobs: a spool ends exactly where less is on it than is needed") {
  for (unsigned seed = 0; seed < 200; ++seed) {
    test::Dice dice(seed);
    std::string text = kHot + "T0\nM83\n";
    std::vector<InsertedFeed> fed;
    double off_mm = 0, most_mm = 0;
    std::uint64_t line = 4;
    std::vector<double> most_after(1, 0);  // lines of T0 that change it, by number
    std::vector<std::uint64_t> lines(1, 0);
    bool mine = true;
    const auto take = [&](double mm) {
      off_mm += mm;
      if (off_mm <= most_mm + 1e-12) return;
      most_mm = off_mm;
      most_after.push_back(most_mm);
      lines.push_back(line);
    };
    for (int i = 0; i < 30; ++i) {
      ++line;
      if (dice.of(5) == 0) {
        if (mine && dice.of(2) == 0) {
          const double push = double(dice.of(5)), pull = double(dice.of(9));
          fed.push_back({text.size(), 0, push - pull, push, false});
          take(push);
          take(-pull);
        }
        mine = !mine;
        text += mine ? "T0\n" : "T1\n";
        if (mine && dice.of(2) == 0) {
          const double push = double(dice.of(9));
          fed.push_back({text.size(), 0, push, push, true});
          ++line;
          take(push);
          text += "G1 X1 E0.5\n";
          take(0.5);
        }
        continue;
      }
      const double mm = double(dice.of(7)) - 2;
      text += "G1 X" + std::to_string(i) + " E" + std::to_string(mm) + "\n";
      if (mine) take(mm);
    }
    CAPTURE(seed, text);
    const auto job = scan_of(text, rules_of(kTwoHeads));
    auto all = job::taken(job, fed);
    CHECK(all[0].most_mm == Approx(most_mm).margin(1e-9));
    CHECK(all[0].net_mm == Approx(off_mm).margin(1e-9));
    const auto enough = watched(text, {{{0, most_mm}}, fed});
    CHECK(enough.spool_ends.empty());
    for (std::size_t k = 1; k < lines.size(); ++k) {
      const auto ends = watched(text, {{{0, most_after[k] - 1e-3}}, fed}).spool_ends;
      REQUIRE(ends.size() == 1);
      // The first line that gets there.
      const auto first =
          std::lower_bound(most_after.begin(), most_after.end(), most_after[k] - 1e-3) -
          most_after.begin();
      CHECK(ends[0].line == lines[std::size_t(first)]);
    }
  }
}
