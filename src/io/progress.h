// A one-line progress bar with rate and time left.
//
// Contract: draws only when `enabled`, which cli/ decides (standard error is a terminal); otherwise
// every call does nothing. Draws at most ten times a second and not within the first half second,
// so that update() can be called for every block of input and short work shows no bar at all. The
// line is wiped by finish() or the destructor. A failing write is ignored: the bar is no result.
// Not thread-safe. `fd` must outlive the Progress.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <string>
#include <string_view>

namespace forewarm::io {

enum class ProgressUnit { bytes, items };

// The line for `done` of `total` after `elapsed_s` seconds, at most `columns` wide (but never less
// than the percentage). Depends on nothing else.
[[nodiscard]] std::string progress_line(std::string_view label, std::uint64_t done,
                                        std::uint64_t total, double elapsed_s, std::size_t columns,
                                        ProgressUnit unit = ProgressUnit::bytes);

class Progress {
 public:
  using Time = std::chrono::steady_clock::time_point;

  // `now` is for tests.
  Progress(int fd, bool enabled, std::string label, std::uint64_t total,
           ProgressUnit unit = ProgressUnit::bytes,
           std::function<Time()> now = std::chrono::steady_clock::now);
  ~Progress();
  Progress(const Progress&) = delete;
  Progress& operator=(const Progress&) = delete;

  void update(std::uint64_t done);
  // Wipes the line until the next update(), so that something else can be said.
  void wipe();
  // Wipes the line. Messages written to the same terminal come after this.
  void finish();

 private:
  void draw(const std::string& line);

  int fd_;
  bool enabled_;
  std::string label_;
  std::uint64_t total_;
  ProgressUnit unit_;
  std::function<Time()> now_;
  Time start_{};
  Time next_{};
  std::size_t drawn_ = 0;  // columns of the line that stands on the terminal
};

}  // namespace forewarm::io
