// Records cut at their echoes: the prints in them, and the pieces of each print. For review.h
// alone.
//
// A change goes from `leave` to `there`, its wait from there to `ready`, and a stretch up to the
// next `leave`. A piece with an end that is missing, or with ends in two parts of a record, is left
// out. Times are those of the record, in seconds. A print that was broken off goes as far as
// something was heard of it.
//
// Pure. REQUIRES: records and schedule outlive what is made of them.
#pragma once

#include <cstdint>
#include <vector>

#include "review/journal.h"

namespace forewarm::review {

struct HeardChange {
  const Heard *leave = nullptr, *there = nullptr, *ready = nullptr;
  const Selected* select = nullptr;
  [[nodiscard]] bool heard() const {
    return leave != nullptr || there != nullptr || ready != nullptr;
  }
};

struct Print {
  std::size_t record = 0;
  const Heard *start = nullptr, *end = nullptr;
  std::vector<HeardChange>
      changes;  // of its changes; of one that was broken off, up to the last heard
  bool broken_off = false;
};

// From one moment of a print to the next that is known, with what was planned for it.
struct Piece {
  enum class Kind { stretch, change, wait };
  Kind kind = Kind::stretch;
  std::size_t print = 0, change = 0;  // a stretch: the change that ends it; all: at the job's end
  double from_s = 0, to_s = 0;        // in the record
  std::size_t part = 0;
  bool rests = true;       // both ends are the machine's
  double job_s = 0;        // planned, without waits
  double sequences_s = 0;  // of that
  double wait_s = 0;       // planned
  std::size_t waits = 0;
  double stop_s = 0;  // found in it
  bool stop_said = false;
  [[nodiscard]] double took_s() const { return to_s - from_s - stop_s; }
};

struct Cut {
  std::vector<Print> prints;  // in the order of records
  std::vector<Piece> pieces;
  bool by_selects = false;           // some record has no echoes, but selects
  std::uint64_t unknown_echoes = 0;  // of numbers, or selects, that the job does not have
  std::uint64_t missing_echoes = 0;  // ends of pieces
};

[[nodiscard]] Cut cut(const Schedule& schedule, const std::vector<Journal>& records);

}  // namespace forewarm::review
