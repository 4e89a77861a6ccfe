// Heat-ups and cool-downs of every heater in a record, found as the record is read.
//
// A heat-up is what drive does from undriven (or, where drive is known, from a hold whose target is
// raised), until the target is first reached, the drive is switched off, or it falls below half of
// what it was. A cool-down is undriven from its top, less the first twentieth, where the sensor
// lags behind. Each spans kLeastSpanC and has kLeastReadings, or is left out.
//
// Drive is the record's own. Where that has targets only, it is taken as full from when a target is
// given until it is first reached, and as off above the target; what lies between is not used.
//
// Memory: of each heater the kMostStretches that span most, of either kind, and of each no more
// than kMostReadings: of a longer one each second reading is left out, as often as needed, and the
// drive between averaged.
#pragma once

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "record/record.h"
#include "thermal/fit.h"

namespace forewarm::record {

inline constexpr double kLeastSpanC = 20;
inline constexpr std::size_t kLeastReadings = 20, kMostReadings = 2048, kMostStretches = 24;

struct Found {
  thermal::Stretch stretch;
  double span_c = 0;
  std::size_t readings = 0;        // before any were left out
  std::optional<double> target_c;  // of a heat-up
  bool momentary = false;          // its drives are those of moments
  bool from_first = false;         // begins with its part: nothing is known of what was before
};

// A heat-up from its beginning until it was within reached_c of its target, which did not change.
struct Climb {
  double from_c = 0, target_c = 0, seconds = 0;
};

struct HeaterStretches {
  Heater heater;
  std::vector<Found> heat_ups, cool_downs;  // in the order of the record
  std::uint64_t samples = 0;
  bool driven = false;       // some drive, known or taken
  bool drive_known = false;  // some sample says its drive
  bool target_known = false;
  double widest_span_c = 0;            // of stretches, also of those that were left out
  std::size_t most_readings = 0;       // of those that span enough
  std::size_t most_heat_readings = 0;  // likewise, of heat-ups
  std::vector<double> settles_s;       // from reaching the target, within reached_c, until `ready`
  std::vector<Climb> climbs;
  double reached_c = 0;

  // The same heater in another record: together.
  void add(HeaterStretches other);
};

// From memory: firmware commonly counts a heater as warm from so far below its target.
inline constexpr double kUsualReachedC = 1;

// A heater whose record begins with a heat-up from below kRestC, or from less than kRestAboveC
// above the rules' ambient, was at rest until then. Common practice, no source.
inline constexpr double kRestC = 45, kRestAboveC = 15;

class StretchFinder final : public QuietListener {
 public:
  // What counts as reached is the rules' reached_c; where they have none, kUsualReachedC, or less
  // where waits are written to a narrower window. Without rules, it is the target.
  StretchFinder() = default;
  explicit StretchFinder(const rules::Rules& rules);
  // Which toolhead's heater each change waits for, by the number of its echoes, where the job is
  // known. Others may reach their targets meanwhile, and those waits are not theirs.
  void expect(std::map<std::uint64_t, std::size_t> heads) { expected_ = std::move(heads); }

  void part(double from_s, std::uint64_t line) override;
  void heater(const Heater& heater) override;
  void sample(const Sample& sample) override;
  void echo(const Echo& echo) override;

  // Ends what is under way. REQUIRES: called once, after the record.
  [[nodiscard]] std::vector<HeaterStretches> take();

 private:
  enum class Phase { unknown, heating, holding, cooling };
  struct State {
    HeaterStretches found;
    Phase phase = Phase::unknown;
    std::vector<thermal::Reading> readings;  // of the stretch under way
    std::size_t stride = 1, skipped = 0, taken = 0;
    double drive_time_s = 0, drive_sum = 0;  // since the last reading that was kept
    bool from_first = false;
    double drive_before = 0, most_drive = 0;
    bool momentary = false;
    std::optional<double> drive_since_s;
    std::optional<double> low_since_s;  // drive is below half of the most
    std::optional<double> target_c, last_target_c;
    bool reached = false;
    std::optional<double> reached_s;             // between two samples
    double below_s = -1e300;                     // when it was last seen to be clearly below that
    std::optional<thermal::Reading> climb_from;  // a climb is under way
    std::optional<Sample> last;
    double last_drive = 0;
  };

  void begin(State& s, Phase phase, bool from_first, double drive_before);
  void append(State& s, const Sample& sample, double drive);
  void finish(State& s);
  void keep(State& s, std::vector<thermal::Reading> readings, bool heating);
  void split_low(State& s);
  std::optional<double> drive_of(State& s, const Sample& sample) const;

  void watch_climb(State& s, const Sample& sample, bool begins);

  std::vector<double> reached_c_;  // by toolhead
  double rest_c_ = kRestC;
  double usual_c_ = 0;  // of heaters that are no toolhead's
  std::vector<State> states_;
  std::optional<Echo> there_;
  std::optional<std::map<std::uint64_t, std::size_t>> expected_;
};

}  // namespace forewarm::record
