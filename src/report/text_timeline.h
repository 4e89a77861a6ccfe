// What each toolhead does when, in plain characters: one line a toolhead, for a terminal.
//
// A column stands for the same time everywhere. It shows what most of it is: printing, heating,
// holding, standing by, being off or waiting; for printing, the filament that prints longest. Where
// a toolhead prints, but not for most of the column, the letter of the filament is a small one.
// Waiting is never lost by that: it has a row of its own, with the tenths of each column in which
// the machine waits, rounded up. No line is wider than `width`. Nothing is told by colour alone.
// Pure.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "report/calendar.h"
#include "report/format.h"
#include "report/picture.h"

namespace forewarm::report {

struct TextTimeline {
  struct Span {
    double from_s = 0, to_s = 0;
  };
  struct Row {
    std::string name;                         // harmless
    std::vector<Picture::Stretch> stretches;  // by from_s; they do not overlap
    std::vector<Span> waits;                  // the machine waits for this toolhead; likewise
  };
  std::vector<Row> rows;
  std::vector<std::string> filaments;  // what to call each in the legend; harmless
  double end_s = 0;
  std::optional<LocalTime> start = {};  // with it, the axis has clock times
  std::size_t width = kTextWidth;
  bool colour = false;
};

// Lines that end in a newline, none of them in blanks; empty where there is nothing to show.
// REQUIRES: a width of 40 or more; finite times.
[[nodiscard]] std::string text_of(const TextTimeline& timeline);

// Of the look-ahead plan. REQUIRES: the picture is of the summary.
[[nodiscard]] TextTimeline text_timeline(const Summary& summary, const Picture& picture);

}  // namespace forewarm::report
