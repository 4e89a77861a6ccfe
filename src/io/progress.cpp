#include "io/progress.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <utility>

#include "base/error.h"

namespace forewarm::io {

namespace {

using std::chrono::milliseconds;

constexpr milliseconds kFirst{500};
constexpr milliseconds kEvery{100};

// Columns that `text` takes, near enough: one for each UTF-8 character.
std::size_t width(std::string_view text) {
  return std::size_t(std::count_if(text.begin(), text.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xc0U) != 0x80U;
  }));
}

template <class... Args>
std::string format(const char* pattern, Args... args) {
  std::array<char, 64> text{};
  (void)std::snprintf(text.data(), text.size(), pattern, args...);
  return text.data();
}

std::string rate(double per_second, ProgressUnit unit) {
  if (unit == ProgressUnit::items) return format("%.1f/s", per_second);
  if (per_second >= 1e9) return format("%.1f GB/s", per_second / 1e9);
  if (per_second >= 1e6) return format("%.1f MB/s", per_second / 1e6);
  return format("%.0f kB/s", per_second / 1e3);
}

std::string time_left(double seconds) {
  if (!(seconds < 100.0 * 3600)) return "";  // also when nothing is known yet
  const auto s = static_cast<unsigned>(std::ceil(seconds));
  if (s >= 3600) return format("%u:%02u:%02u left", s / 3600, s / 60 % 60, s % 60);
  return format("%u:%02u left", s / 60, s % 60);
}

std::size_t terminal_columns(int fd) {
  winsize size{};
  if (::ioctl(fd, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) return size.ws_col;
  return 80;
}

}  // namespace

std::string progress_line(std::string_view label, std::uint64_t done, std::uint64_t total,
                          double elapsed_s, std::size_t columns, ProgressUnit unit) {
  done = std::min(done, total);
  const double share = total > 0 ? double(done) / double(total) : 1.0;
  // Rounded down: 100 % is said only when it is true.
  const std::string percent = format("%3u%%", static_cast<unsigned>(share * 100.0));

  std::string tail;
  if (elapsed_s > 0 && done > 0) {
    tail = rate(double(done) / elapsed_s, unit);
    if (const std::string left = time_left(elapsed_s * (1.0 / share - 1.0)); !left.empty()) {
      tail += "  " + left;
    }
  }

  // What does not fit goes, the least useful first: bar, label, rate.
  constexpr std::size_t kBarMost = 30;
  constexpr std::size_t kBarLeast = 8;
  std::string line = percent;
  if (!tail.empty() && width(line) + 2 + width(tail) <= columns) line += "  " + tail;
  const std::string shown = printable(label, 60);
  if (shown.empty() || width(shown) + 2 + width(line) > columns) return line;
  const std::size_t without_bar = width(shown) + 2 + width(line);
  if (without_bar + kBarLeast + 3 > columns) return shown + "  " + line;
  const std::size_t cells = std::min(kBarMost, columns - without_bar - 3);
  const auto full = std::size_t(share * double(cells));
  return shown + "  [" + std::string(full, '#') + std::string(cells - full, '.') + "] " + line;
}

Progress::Progress(int fd, bool enabled, std::string label, std::uint64_t total, ProgressUnit unit,
                   std::function<Time()> now)
    : fd_(fd),
      enabled_(enabled),
      label_(std::move(label)),
      total_(total),
      unit_(unit),
      now_(std::move(now)) {
  if (!enabled_) return;
  start_ = now_();
  next_ = start_ + kFirst;
}

Progress::~Progress() { finish(); }

void Progress::update(std::uint64_t done) {
  if (!enabled_) return;
  const Time now = now_();
  if (now < next_) return;
  next_ = now + kEvery;
  // One column stays free: a line that fills the terminal would wrap.
  const std::size_t columns = terminal_columns(fd_) - 1;
  draw(progress_line(label_, done, total_, std::chrono::duration<double>(now - start_).count(),
                     columns, unit_));
}

void Progress::wipe() {
  if (drawn_ > 0) draw("");
}

void Progress::finish() {
  wipe();
  enabled_ = false;
}

void Progress::draw(const std::string& line) {
  // Blanks, not an escape sequence, wipe what the last line had more: every terminal knows those.
  const std::size_t now = width(line);
  std::string out = '\r' + line;
  if (drawn_ > now) out += std::string(drawn_ - now, ' ');
  if (now == 0) out += '\r';
  drawn_ = now;
  (void)!::write(fd_, out.data(), out.size());
}

}  // namespace forewarm::io
