// What the tests of io/ share: a folder that goes away, files in it, and children that may die.
#pragma once

#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include "../common/files.h"
#include "base/error.h"

namespace forewarm::io {

using test::get;
using test::put;

class TempDir {
 public:
  TempDir() : TempDir("/tmp") {}
  explicit TempDir(const std::string& parent) {
    std::string pattern = parent + "/forewarm-io-test-XXXXXX";
    if (::mkdtemp(pattern.data()) == nullptr) FAIL("no temporary folder in " << parent);
    path_ = std::filesystem::canonical(pattern).string();
  }
  ~TempDir() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;

  [[nodiscard]] std::string operator/(const std::string& name) const { return path_ + "/" + name; }
  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] std::vector<std::string> names() const {
    std::vector<std::string> out;
    for (const auto& entry : std::filesystem::directory_iterator(path_)) {
      out.push_back(entry.path().filename().string());
    }
    std::sort(out.begin(), out.end());
    return out;
  }

 private:
  std::string path_;
};

inline std::string noise(std::size_t size, unsigned seed = 1) {
  std::mt19937 random(seed);
  std::string out(size, '\0');
  for (char& c : out) c = static_cast<char>(random());
  return out;
}

inline struct stat stat_of(const std::string& path) {
  struct stat st {};
  if (::lstat(path.c_str(), &st) != 0) FAIL("no " << path);
  return st;
}

inline unsigned mode_of(const std::string& path) { return stat_of(path).st_mode & 07777U; }

// Fails the test, with what was said, unless `outcome` is ok.
template <class Outcome>
void need(const Outcome& outcome) {
  if (!outcome.ok()) FAIL(render(outcome.error()));
}

// Runs `body` in a child process and gives its wait status. The child's exit status is what `body`
// returns; no destructor and no exit handler of the test program runs in it.
template <class Body>
int in_child(Body body) {
  const pid_t pid = ::fork();
  if (pid == 0) ::_exit(body());
  int status = 0;
  REQUIRE(::waitpid(pid, &status, 0) == pid);
  return status;
}

// For use in a child: gives up being root, so that permissions count.
inline bool become_nobody() {
  return ::geteuid() != 0 || (::setgid(65534) == 0 && ::setuid(65534) == 0);
}

}  // namespace forewarm::io
