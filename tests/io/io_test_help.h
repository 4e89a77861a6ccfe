// What the tests of io/ share: files, their modes, and children that may die.
#pragma once

#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <random>
#include <string>

#include "base/error.h"
#include "help/files.h"

namespace forewarm::io {

using test::get;
using test::put;
using test::TempDir;

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
