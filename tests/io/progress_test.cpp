#include "io/progress.h"

#include <fcntl.h>

#include "io/posix.h"
#include "io_test_help.h"

namespace forewarm::io {

namespace {
struct Pipe {
  UniqueFd read, write;
  Pipe() {
    int ends[2];
    REQUIRE(::pipe2(ends, O_CLOEXEC | O_NONBLOCK) == 0);
    read.reset(ends[0]);
    write.reset(ends[1]);
  }
  [[nodiscard]] std::string drain() const {
    std::string out(65536, '\0');
    const ssize_t got = ::read(read.get(), out.data(), out.size());
    out.resize(got > 0 ? std::size_t(got) : 0);
    return out;
  }
};
}  // namespace

TEST_CASE("the progress line shows share, rate and time left") {
  CHECK(progress_line("reading", 50'000'000, 200'000'000, 2.0, 80) ==
        "reading  [#######.......................]  25%  25.0 MB/s  0:06 left");
  CHECK(progress_line("reading", 0, 100, 0.0, 80) ==
        "reading  [..............................]   0%");
  CHECK(progress_line("jobs", 2, 4, 4.0, 80, ProgressUnit::items) ==
        "jobs  [###############...............]  50%  0.5/s  0:04 left");
  CHECK(progress_line("", 1, 100, 1.0, 80, ProgressUnit::items) == "  1%  1.0/s  1:39 left");
  CHECK(progress_line("x", 1, 10000, 1.0, 20, ProgressUnit::items) == "x  [..........]   0%");
  CHECK(progress_line("x", 1, 10000, 1.0, 17, ProgressUnit::items) == "x    0%");
}

TEST_CASE("the progress line never says 100 % too early, and survives odd numbers") {
  CHECK(progress_line("x", 999, 1000, 1.0, 7) == "x   99%");
  CHECK(progress_line("x", 5, 3, 1.0, 7) == "x  100%");
  CHECK(progress_line("x", 0, 0, 0.0, 7) == "x  100%");
  CHECK(progress_line("x", 1, UINT64_MAX, 1.0, 80).find("left") == std::string::npos);
}

TEST_CASE("the progress line fits and carries no control characters") {
  for (std::size_t columns = 4; columns < 120; ++columns) {
    const auto line =
        progress_line("a\033]0;evil\a file.gcode", 123'456'789, 987'654'321, 12.5, columns);
    CHECK(line.size() <= columns);
    CHECK(line.find('\033') == std::string::npos);
  }
}

TEST_CASE("progress is drawn at most ten times a second, wiped at the end") {
  const Pipe pipe;
  Progress::Time now{};
  {
    Progress progress(pipe.write.get(), true, "reading", 10000, ProgressUnit::items,
                      [&] { return now; });
    int draws = 0;
    for (std::uint64_t ms = 0; ms < 2000; ++ms) {
      now = Progress::Time{} + std::chrono::milliseconds(ms);
      progress.update(ms);
      const std::string out = pipe.drain();
      if (ms < 500) CHECK(out.empty());
      if (!out.empty()) ++draws;
    }
    CHECK(draws == 15);
  }
  const std::string wiped = pipe.drain();
  REQUIRE(wiped.size() > 2);
  CHECK(wiped.find_first_not_of("\r ") == std::string::npos);
  CHECK(wiped.back() == '\r');
}

TEST_CASE("progress is wiped for something else to be said, and comes back") {
  const Pipe pipe;
  Progress::Time now{};
  Progress progress(pipe.write.get(), true, "reading", 100, ProgressUnit::items,
                    [&] { return now; });
  progress.wipe();
  CHECK(pipe.drain().empty());
  now += std::chrono::seconds(1);
  progress.update(10);
  const std::string drawn = pipe.drain();
  CHECK(drawn.find("10%") != std::string::npos);
  progress.wipe();
  const std::string wiped = pipe.drain();
  CHECK(wiped.find_first_not_of("\r ") == std::string::npos);
  CHECK(wiped.back() == '\r');
  now += std::chrono::seconds(1);
  progress.update(20);
  CHECK(pipe.drain().find("20%") != std::string::npos);
}

TEST_CASE("progress that is not enabled writes nothing and reads no clock") {
  const Pipe pipe;
  int looks = 0;
  Progress progress(pipe.write.get(), false, "reading", 10, ProgressUnit::bytes, [&] {
    ++looks;
    return Progress::Time{} + std::chrono::seconds(looks);
  });
  for (std::uint64_t i = 0; i < 10; ++i) progress.update(i);
  progress.finish();
  CHECK(pipe.drain().empty());
  CHECK(looks == 0);
}

}  // namespace forewarm::io
