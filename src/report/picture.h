// What the picture of a job shows, as values.
//
// Both drawings come from here, the still one (page.h) and the one that the page's script draws
// (page_data.h), so they show the same. Wall seconds of each plan, degrees Celsius, watts. Pure.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "plan/trace.h"
#include "report/report.h"

namespace forewarm::report {

struct Picture {
  // What a toolhead does in a stretch; kUse and over: it prints with filaments[kind - kUse].
  enum Kind : int { kOff, kStandby, kHold, kHeating, kUse };
  struct Stretch {
    double from_s = 0, to_s = 0;
    int kind = kOff;
    std::int64_t of = -1;  // parked: its gap in the plan; a use: its change in the job; -1: neither
  };
  struct Row {
    std::vector<Stretch> stretches;  // one after the other
    std::vector<plan::Trace::Point> temperature;
  };
  struct Step {
    double at_s = 0, watts = 0;  // until the next one
  };
  struct Band {
    double end_s = 0;
    std::vector<Row> rows;                 // as job.heads
    std::vector<plan::Trace::Stop> stops;  // that somebody would see
    std::vector<Step> power;               // of all heaters that are driven then
  };
  struct Levels {
    double low = 0, high = 0;
  };
  struct Head {
    std::string name;
    double scale_c = 0;                       // the top of its axis
    std::optional<Levels> work_c, standby_c;  // of its filaments
  };
  struct Filament {
    int tool = 0;
    std::string name, material;  // empty where the rule file has none
    std::string letter;
    std::size_t look = 0;  // its colour and hatch, of kLooks
  };
  static constexpr std::size_t kLooks = 8;

  double end_s = 0;                 // of the longer plan
  std::optional<double> limit_w;    // what the bed leaves of it
  std::vector<Head> heads;          // as job.heads
  std::vector<Filament> filaments;  // those the job uses, by tool
  Band planned, sliced;
  std::vector<double> layers_s;  // when each begins, planned; empty where they are too many
};

// REQUIRES: the traces are of the summary's look-ahead plan and of what is sliced.
[[nodiscard]] Picture picture_of(const Summary& summary, const plan::Trace& planned,
                                 const plan::Trace& as_sliced);

}  // namespace forewarm::report
