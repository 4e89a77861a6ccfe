// Random small jobs whose filaments move to random tools: what comes of them, replayed by a small
// machine of this file's own.
#include <fmt/format.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include "help/jobs.h"
#include "help/moved.h"
#include "help/random_job.h"
#include "help/rewritten.h"

using namespace forewarm;
using test::report_of;
using test::restored;

namespace {

// A job as slicers write it for several hotends: some tools are heated before each use, some once
// and for all; parked ones are put on standby or off, or preheated, while another prints; and some
// lines are for tools that are never selected.
struct MapJob : test::RandomJob {
  using RandomJob::RandomJob;
  bool by_heater = false, crlf = false, numbered = false;
  std::vector<int> used;
  std::set<int> selected;  // the others are only heated

  static int heater_of(int tool) { return tool == 0 ? 0 : tool < 4 ? 1 : 2; }
  [[nodiscard]] std::string index(int tool) const {
    return fmt::format("T{}", by_heater ? heater_of(tool) : tool);
  }
  bool one_in(std::uint64_t n) { return below(n) == 0; }

  std::string make() {
    constexpr double kWork[] = {215, 210, 205, 220, 240};
    std::vector<char> once(5);
    std::vector<char> is_used(5);
    for (int tool = 0; tool < 5; ++tool) {
      once[std::size_t(tool)] = char(one_in(3));
      is_used[std::size_t(tool)] = char(!one_in(3));
    }
    for (int tool = 0; tool < 5; ++tool) {
      if (is_used[std::size_t(tool)]) used.push_back(tool);
    }
    while (used.size() < 2) used = {0, 1 + int(below(4))};
    const auto some = [&] { return used[below(used.size())]; };
    line("G21");
    line("G90");
    line("M83");
    line("G28");
    for (const int tool : used) {
      if (one_in(4) && !once[std::size_t(tool)]) continue;
      line(fmt::format("{} {} S{:.0f}", one_in(3) ? "M109" : "M104", index(tool),
                       kWork[std::size_t(tool)]));
    }
    if (one_in(3)) {
      const int other = int(below(5));
      const bool heated = std::any_of(used.begin(), used.end(),
                                      [other](int t) { return heater_of(t) == heater_of(other); });
      line(fmt::format("M104 {} S{}", index(other), heated ? 190 : 0));
    }
    int tool = some();
    selected.insert(tool);
    line(fmt::format("T{}", tool));
    line(fmt::format("M109 {} S{:.0f}", index(tool), kWork[std::size_t(tool)]));
    print(between(5, 40));
    const std::uint64_t changes = 3 + below(8);
    for (std::uint64_t i = 0; i < changes; ++i) {
      z += 0.2;
      line("G0 " + to('Z', at_z, z) + " F600");
      int next = some();
      while (next == tool) next = some();
      selected.insert(next);
      bool heated = false;
      if (one_in(4)) {
        // While `tool` prints, something for another.
        const int other = int(below(5));
        const double temp = one_in(3) ? 0 : between(120, 180);
        line(fmt::format("M104 {} S{:.0f}", index(other), temp));
        once[std::size_t(other)] = 0;
        print(between(5, 40));
      }
      if (one_in(4)) {
        line(fmt::format("M104 {} S{:.0f}", index(next), kWork[std::size_t(next)]));
        print(between(5, 60));
        heated = one_in(2);
      }
      if (one_in(3)) {
        line(fmt::format("M104 {}S{:.0f}", one_in(2) ? "" : index(tool) + " ", between(140, 180)));
        once[std::size_t(tool)] = 0;
      }
      // Long lines, and tools that are passed over.
      if (one_in(4)) line(fmt::format("G4 P{}", 1000 + below(30000)));
      if (one_in(6)) {
        const int over = some();
        if (over != tool && over != next) {
          line(fmt::format("T{}", over));
          selected.insert(over);
          if (one_in(2)) {
            line(fmt::format("M104 {} S{:.0f}", index(over), kWork[std::size_t(over)]));
          }
          if (one_in(2)) line("G1 E-2 F1200");
        }
      }
      line(fmt::format("T{}", next));
      const std::string number = one_in(2) ? index(next) + " " : std::string();
      if (!once[std::size_t(next)] && !heated) {
        line(fmt::format("{} {}S{:.0f}", one_in(4) ? "M104" : "M109", number,
                         kWork[std::size_t(next)]));
      } else if (one_in(4)) {
        line("M109 " + number);
      }
      tool = next;
      const std::uint64_t kind = below(10);
      print(kind < 6 ? between(3, 60) : kind < 9 ? between(60, 500) : between(900, 2000));
      if (one_in(4)) {
        line(fmt::format("M104 {}S{:.0f}", number, kWork[std::size_t(tool)] - 5));
        print(between(5, 30));
        line(fmt::format("M104 {}S{:.0f}", number, kWork[std::size_t(tool)]));
      }
    }
    if (one_in(2)) line("M104 S0");
    for (int t = 0; t < 5; ++t) {
      if (!one_in(4)) line("M104 " + index(t) + " S0");
    }
    std::string out;
    std::istringstream in(text);
    int number = 0;
    for (std::string one; std::getline(in, one);) {
      if (numbered) one = with_number(++number, one);
      out += one + (crlf ? "\r\n" : "\n");
    }
    return out;
  }
  static std::string with_number(int number, const std::string& line) {
    const std::string body = fmt::format("N{} {}", number, line);
    int sum = 0;
    for (const char c : body) sum ^= c;
    return fmt::format("{}*{}", body, sum);
  }

  gcode::ToolMap map() {
    std::vector<int> to{0, 1, 2, 3, 4};
    for (std::size_t i = to.size(); i-- > 1;) std::swap(to[i], to[below(i + 1)]);
    gcode::ToolMap out;
    for (const int tool : used) {
      if (to[std::size_t(tool)] != tool) out.emplace(tool, to[std::size_t(tool)]);
    }
    return out;
  }
};

// A machine of the three toolheads in random_job.h, by its text. Time is distance over feed.
struct Machine {
  struct Head {
    double temp_c = 23, target_c = 0;
    double full_c, tau_s;
  };
  std::vector<Head> heads{{23, 0, 450, 180}, {23, 0, 450, 180}, {23, 0, 400, 150}};
  std::vector<int> loaded{-1, -1, -1};
  bool by_heater = false;
  int tool = -1;
  double x = 0, y = 0, z = 0, feed = 25;
  struct Feed {
    int tool;
    double target_c, temp_c;
    std::string line;
  };
  std::vector<Feed> feeds;

  void pass(double seconds) {
    for (Head& h : heads) {
      if (h.temp_c < h.target_c) {
        h.temp_c =
            std::min(h.target_c, h.full_c - (h.full_c - h.temp_c) * std::exp(-seconds / h.tau_s));
      } else {
        h.temp_c = std::max(h.target_c, 23 + (h.temp_c - 23) * std::exp(-seconds / h.tau_s));
      }
    }
  }
  static std::map<char, double> describe(const std::string& line) {
    std::map<char, double> out;
    std::istringstream in(line.substr(0, line.find_first_of(";*")));
    for (std::string word; in >> word;) {
      out[word[0]] = word.size() > 1 ? std::stod(word.substr(1)) : 0;
    }
    return out;
  }
  void run(const std::string& text) {
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
      auto w = describe(line);
      if (w.empty()) continue;
      if (w.contains('T') && !w.contains('M') && !w.contains('G')) {
        const int next = int(w['T']);
        if (next == tool) continue;
        const int from = tool < 0 ? -1 : MapJob::heater_of(tool);
        const auto to = std::size_t(MapJob::heater_of(next));
        double seconds = from == int(to) ? 0 : 7 + (from < 0 ? 0 : 7);
        if (loaded[to] >= 0 && loaded[to] != next) seconds += 33;
        loaded[to] = tool = next;
        pass(seconds);
      } else if (w.contains('M') && (w['M'] == 104 || w['M'] == 109)) {
        int head = MapJob::heater_of(std::max(tool, 0));
        if (w.contains('T')) head = by_heater ? int(w['T']) : MapJob::heater_of(int(w['T']));
        Head& h = heads[std::size_t(head)];
        if (w.contains('S')) h.target_c = w['S'];
        while (w['M'] == 109 && h.temp_c < h.target_c - 0.5) pass(0.5);
      } else if (w.contains('G') && w['G'] == 4) {
        pass(w['P'] / 1000);
      } else if (w.contains('G') && w['G'] <= 1) {
        const auto to = [&w](char axis, double& at) {
          const double from = at;
          if (w.contains(axis)) at = w[axis];
          return at - from;
        };
        const double dx = to('X', x);
        const double dy = to('Y', y);
        const double way = std::hypot(dx, dy, to('Z', z));
        if (w.contains('F')) feed = w['F'] / 60;
        if (w.contains('E') && w['E'] > 0) {
          const Head& h = heads[std::size_t(MapJob::heater_of(tool))];
          feeds.push_back({tool, h.target_c, h.temp_c, line});
        }
        pass((way > 0 ? way : std::abs(w['E'])) / feed);
      }
    }
  }
};

// What is wrong with `rewritten`, if anything.
std::string wrong(const std::string& original, const std::string& rewritten,
                  const gcode::ToolMap& map, bool by_heater) {
  Machine before;
  Machine after;
  before.by_heater = after.by_heater = by_heater;
  before.run(original);
  after.run(rewritten);
  if (before.feeds.size() != after.feeds.size()) return "other moves";
  double begun_c = 0;    // the target that the use began with
  bool changed = false;  // since
  for (std::size_t i = 0; i < before.feeds.size(); ++i) {
    if (i == 0 || before.feeds[i].tool != before.feeds[i - 1].tool) {
      begun_c = before.feeds[i].target_c;
      changed = false;
    }
    const Machine::Feed& a = before.feeds[i];
    const Machine::Feed& b = after.feeds[i];
    if (gcode::mapped(map, a.tool) != b.tool) return a.line + ": another filament";
    if (std::abs(a.target_c - b.target_c) > 0.01) {
      return fmt::format("{} of T{}: at a target of {:g}, not {:g}", a.line, a.tool, b.target_c,
                         a.target_c);
    }
    // What the job heats in the midst of a use, another heater may heat more slowly.
    changed |= a.target_c != begun_c;
    if (!changed && b.temp_c < std::min(a.target_c, a.temp_c) - 8) {
      return fmt::format("{} of T{}: at {:.1f}, not {:g}", a.line, a.tool, b.temp_c, a.target_c);
    }
  }
  return "";
}

struct Count {
  int done = 0, refused = 0, left_out = 0, put_in = 0;
};

Count try_jobs(std::uint64_t from, std::uint64_t to, bool by_heater) {
  const rules::Rules rules =
      test::rules_of(std::string(test::kThreeHeads) +
                     (by_heater ? "[dialect]\ntemperature_index = \"heater\"\n" : ""));
  Count count;
  for (std::uint64_t seed = from; seed < to; ++seed) {
    MapJob job(seed);
    job.by_heater = by_heater;
    job.crlf = seed % 5 == 0;
    job.numbered = seed % 7 == 0;
    const std::string original = job.make();
    const gcode::ToolMap map = job.map();
    const bool moves = std::any_of(map.begin(), map.end(), [&job](const auto& pair) {
      return job.selected.contains(pair.first);
    });
    if (!moves) continue;
    INFO("seed " << seed << ", " << gcode::text_of(map));
    const auto rewritten = test::try_moved_rewrite_of(original, rules, map);
    if (!rewritten) {
      CHECK(rewritten.error().kind == Error::Kind::refused);
      CHECK(rewritten.error().line > 0);
      ++count.refused;
      continue;
    }
    ++count.done;
    count.left_out += rewritten->find(", left out: ") != std::string::npos;
    count.put_in += rewritten->find(" as before") != std::string::npos;
    const std::string found = test::print(report_of(&original, *rewritten, rules)) +
                              test::print(report_of(nullptr, *rewritten, rules)) +
                              wrong(original, *rewritten, map, by_heater);
    if (!found.empty()) {
      INFO(original << "-----\n" << *rewritten);
      CHECK(found == "");
    }
    CHECK(restored(*rewritten) == original);
    CHECK(test::moved_rewrite_of(restored(*rewritten), rules, map) == *rewritten);
  }
  return count;
}

}  // namespace

TEST_CASE("filaments that move are printed as hot as before") {
  const Count count = try_jobs(1, 400, false);
  WARN(count.done << " jobs, " << count.refused << " refused, " << count.left_out
                  << " with targets left out, " << count.put_in << " with waits put in");
  CHECK(count.done > 250);
  CHECK(count.left_out > 100);
  CHECK(count.put_in > 50);
}

TEST_CASE("so are they where targets name heaters, or the job is refused") {
  const Count count = try_jobs(1, 800, true);
  WARN(count.done << " jobs, " << count.refused << " refused, " << count.left_out
                  << " with targets left out, " << count.put_in << " with waits put in");
  CHECK(count.done > 200);
  CHECK(count.left_out > 50);
  CHECK(count.put_in > 20);
}
