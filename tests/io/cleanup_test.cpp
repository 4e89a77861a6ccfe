#include "io/cleanup.h"

#include <signal.h>

#include <memory>
#include <thread>

#include "io/replace.h"
#include "io_test_help.h"

namespace forewarm::io {

TEST_CASE("a signal removes the temporary file, leaves the target, and still ends the program") {
  const int number = GENERATE(SIGINT, SIGTERM, SIGHUP);
  const bool threads = GENERATE(false, true);
  const TempDir dir;
  const std::string path = dir / "job.gcode";
  put(path, "old");
  const int status = in_child([&] {
    (void)::signal(number, SIG_DFL);
    install_signal_cleanup();
    auto r = Replacement::open(path);
    auto n = Replacement::create(dir / "new");
    if (!r.ok() || !n.ok() || dir.names().size() != 3) return 1;
    if (!(*r)->sink().write(noise(1'000'000)).ok()) return 2;
    if (threads) {
      std::thread([&] { (void)::raise(number); }).join();
    } else {
      (void)::raise(number);
    }
    return 3;
  });
  REQUIRE(WIFSIGNALED(status));
  CHECK(WTERMSIG(status) == number);
  CHECK(dir.names() == std::vector<std::string>{"job.gcode"});
  CHECK(get(path) == "old");
}

TEST_CASE("a committed file is not removed by a signal") {
  const TempDir dir;
  const int status = in_child([&] {
    (void)::signal(SIGTERM, SIG_DFL);
    install_signal_cleanup();
    auto r = Replacement::create(dir / "new");
    if (!r.ok() || !(*r)->sink().write("bytes").ok() || !(*r)->commit().ok()) return 1;
    (void)::raise(SIGTERM);
    return 2;
  });
  CHECK(WIFSIGNALED(status));
  CHECK(get(dir / "new") == "bytes");
  CHECK(dir.names().size() == 1);
}

TEST_CASE("a signal that was ignored stays ignored") {
  const int status = in_child([] {
    (void)::signal(SIGHUP, SIG_IGN);
    install_signal_cleanup();
    (void)::raise(SIGHUP);
    return 7;
  });
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 7);
}

TEST_CASE("the table of files is fixed, reused, and full without harm") {
  const TempDir dir;
  for (int round = 0; round < 3; ++round) {
    std::vector<std::unique_ptr<SignalRemoval>> held;
    std::size_t active = 0;
    for (int i = 0; i < 200; ++i) {
      held.push_back(std::make_unique<SignalRemoval>(dir / std::to_string(i)));
      if (held.back()->active()) ++active;
    }
    CHECK(active == 64);
  }
  CHECK(!SignalRemoval("/" + std::string(5000, 'x')).active());
}

TEST_CASE("threads register and release while a signal arrives") {
  const TempDir dir;
  put(dir / "bystander", "x");
  const int status = in_child([&] {
    (void)::signal(SIGTERM, SIG_DFL);
    install_signal_cleanup();
    std::vector<std::thread> workers;
    for (int t = 0; t < 4; ++t) {
      workers.emplace_back([&, t] {
        while (true) {
          auto r = Replacement::create(dir / ("out" + std::to_string(t)));
          if (r.ok()) (void)(*r)->sink().write("x");
        }
      });
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(30));
    (void)::kill(::getpid(), SIGTERM);
    std::this_thread::sleep_for(std::chrono::seconds(10));
    return 1;
  });
  CHECK(WIFSIGNALED(status));
  // A file created in the very instant between the handler's sweep and the process's end may stay,
  // one for each thread at most.
  CHECK(dir.names().size() <= 5);
  CHECK(get(dir / "bystander") == "x");
}

}  // namespace forewarm::io
