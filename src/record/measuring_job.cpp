#include "record/measuring_job.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "record/record.h"
#include "thermal/hotend.h"

namespace forewarm::record {

namespace {

// No two drives are alike, and two say little of how unlike they are. Common practice, no source.
constexpr int kHeatUps = 3;
// Long enough for a controller to settle. Common practice, no source.
constexpr double kHoldS = 30;
// A dwell is cut into pieces: many machines answer nothing before a dwell is over.
constexpr double kDwellS = 2;
// Whatever the rules say of how it cools, as they may be guesses. Common practice, no source.
constexpr double kLeastCoolS = 120, kMostCoolS = 1800;
// Below max_c at the least, unless somebody asks for more. Common practice, no source.
constexpr double kBelowMaxC = 20;

class Job {
 public:
  Job(const rules::Rules& rules, const MeasuringJob& question)
      : rules_(rules), q_(question), echo_(rules.dialect.echo) {
    if (echo_.empty()) echo_.emplace_back(kEchoUnlessGiven);
  }

  std::string text() {
    head();
    line("G28 ; home");
    for (const std::string& l : rules_.dialect.job_start) line(l);
    for (const rules::Toolhead& h : rules_.toolheads) set(h, h.tools.front(), 0);
    echo(0, Echo::What::start);
    heaters();
    if (rules_.toolheads.size() > 1) park_and_pick();
    if (q_.exchanges) exchanges();
    for (const rules::Toolhead& h : rules_.toolheads) set(h, h.tools.front(), 0);
    for (const std::string& l : rules_.dialect.job_end) line(l);
    echo(0, Echo::What::end);
    return std::move(text_);
  }

 private:
  void line(const std::string& text) { text_ += text + '\n'; }

  void head() {
    line(kMeasuringJobTitle);
    line(fmt::format("; each heater up to {:g} C, {} times; each toolhead parked and picked{}",
                     q_.to_c, kHeatUps, q_.exchanges ? "; each feeder's filaments exchanged" : ""));
    if (!q_.length.empty()) line("; takes about " + q_.length + ", by the rules as they are now");
    for (const std::string& c : cautions(rules_, q_)) line("; caution: " + c);
  }

  void heaters() {
    line("; heaters: up, and left to cool, one after another");
    for (int i = 0; i < kHeatUps; ++i) {
      for (const rules::Toolhead& h : rules_.toolheads) {
        const std::optional<std::uint64_t> number = select(h.tools.front());
        wait(h, h.tools.front(), q_.to_c);
        if (number) echo(*number, Echo::What::ready);
        dwell(kHoldS);
        set(h, h.tools.front(), 0);
      }
      dwell(cool_s(rules_.toolheads.back()));
    }
  }

  // There and back again, so that each follows each other.
  void park_and_pick() {
    line("; parking and picking");
    const int heads = int(rules_.toolheads.size());
    for (int i = 0; i < kRounds; ++i) {
      for (int k = 0; k < heads; ++k) {
        const int at = i % 2 == 0 ? k : (2 * heads - 2 - k) % heads;
        select(rules_.toolheads[std::size_t(at)].tools.front());
      }
    }
    select(rules_.toolheads.front().tools.front());
  }

  void exchanges() {
    for (const rules::Toolhead& h : rules_.toolheads) {
      const std::size_t count = h.tools.size();
      if (count < 2) continue;
      line("; exchanging filaments in " + printable(h.name));
      const int first = h.tools.front();
      select(first);
      wait(h, first, exchange_c(h));
      const std::size_t turns = (kLeastExchanges + count - 1) / count;
      for (std::size_t i = 1; i <= turns * count; ++i) select(h.tools[i % count]);
      set(h, first, 0);
    }
  }

  [[nodiscard]] double exchange_c(const rules::Toolhead& h) const {
    double out = q_.to_c;
    for (const int tool : h.tools) {
      out = std::max(out, rules_.filament(tool).exchange_c.value_or(0));
    }
    return out;
  }

  [[nodiscard]] double cool_s(const rules::Toolhead& h) const {
    const double ambient_c = h.hotend.ambient_c;
    const double to_c = ambient_c + kCoolShare * (q_.to_c - ambient_c);
    return std::clamp(thermal::seconds_to_cool(h.hotend, q_.to_c, to_c), kLeastCoolS, kMostCoolS);
  }

  // The number of the select; nothing where it would be redundant, and is left out.
  std::optional<std::uint64_t> select(int tool) {
    if (tool == tool_) return std::nullopt;
    tool_ = tool;
    ++selects_;
    echo(selects_, Echo::What::leave);
    line(fmt::format("T{}", tool));
    echo(selects_, Echo::What::there);
    return selects_;
  }

  void echo(std::uint64_t number, Echo::What what) {
    for (const std::string& pattern : echo_) {
      line(rules::echo_line(pattern, number, name_of(what)));
    }
  }
  void set(const rules::Toolhead& h, int tool, double temp_c) {
    line(rules::filled_in(rules_.dialect.set, tool, h.heater_index, temp_c));
  }
  void wait(const rules::Toolhead& h, int tool, double temp_c) {
    line(rules::filled_in(rules_.dialect.wait, tool, h.heater_index, temp_c));
  }
  void dwell(double seconds) {
    for (double s = 0; s < seconds; s += kDwellS) line(fmt::format("G4 P{:.0f}", 1000 * kDwellS));
  }

  const rules::Rules& rules_;
  const MeasuringJob& q_;
  std::vector<std::string> echo_;
  std::string text_;
  std::optional<int> tool_;
  std::uint64_t selects_ = 0;
};

Error unusable(std::string message, std::string hint) {
  return {Error::Kind::usage, std::move(message), {}, {}, {}, {}, std::move(hint)};
}

// Lowest of all heaters.
double max_c(const rules::Rules& rules) {
  double out = 1e9;
  for (const rules::Toolhead& h : rules.toolheads) out = std::min(out, h.max_c);
  return out;
}

Status check(const rules::Rules& rules, const MeasuringJob& question) {
  if (rules.toolhead_per_tool_seen) {
    return unusable("the rules name no toolheads to measure",
                    "write a rule file with a [[toolhead]] for each, and name it by --rules");
  }
  for (const rules::Toolhead& h : rules.toolheads) {
    const double least_c = h.hotend.ambient_c + kLeastRiseC;
    const std::string name = rules.toolheads.size() > 1 ? " of " + printable(h.name) : "";
    if (!(question.to_c <= h.max_c)) {
      return unusable(
          fmt::format("--to-c {:g} is above max_c = {:g}{}", question.to_c, h.max_c, name),
          fmt::format("no more than {:g}", max_c(rules)));
    }
    if (question.to_c < least_c) {
      return unusable(
          fmt::format("--to-c {:g} is too low to tell anything of the heater{}", question.to_c,
                      name),
          fmt::format("at least {:g}, which is {:g} C above ambient_c", least_c, kLeastRiseC));
    }
    if (question.to_c >= h.hotend.full_drive_c) {
      return unusable(fmt::format("full_drive_c = {:g}{} never reaches --to-c {:g}",
                                  h.hotend.full_drive_c, name, question.to_c),
                      "a guess will do for full_drive_c, but it has to be a higher one");
    }
  }
  return success();
}

}  // namespace

double usual_to_c(const rules::Rules& rules) {
  return std::min(kUsualToC, std::floor(max_c(rules) - kBelowMaxC));
}

std::vector<std::string> cautions(const rules::Rules& rules, const MeasuringJob& question) {
  std::vector<std::string> out{
      "stay beside the machine; its thermal-runaway protection has to be on",
      "begin with every heater at room temperature, and all toolheads docked as before a print",
      fmt::format("every nozzle gets {:g} C hot and may ooze: whatever is in it has to stand that",
                  question.to_c),
      "have the host ask for temperatures at least every 2 s, and keep its log"};
  if (rules.toolheads.size() > 1) {
    out.emplace_back(
        "toolheads are picked and parked without printing: keep the way to the docks free");
  }
  if (!question.exchanges) return out;
  for (const rules::Toolhead& h : rules.toolheads) {
    if (h.tools.size() < 2) continue;
    std::string tools;
    for (const int tool : h.tools) tools += fmt::format("{}T{}", tools.empty() ? "" : ", ", tool);
    out.push_back(
        fmt::format("the feeder of {} needs all of {} loaded, T{} in the toolhead; what exchanges "
                    "purge has to have a place",
                    printable(h.name), tools, h.tools.front()));
  }
  return out;
}

Result<std::string> measuring_job(const rules::Rules& rules, const MeasuringJob& question) {
  if (auto good = check(rules, question); !good) return std::move(good.error());
  return Job(rules, question).text();
}

}  // namespace forewarm::record
