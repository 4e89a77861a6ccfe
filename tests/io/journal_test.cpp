#include "io/journal.h"

#include <sys/resource.h>

#include <csignal>

#include "io_test_help.h"

namespace forewarm::io {

namespace {
constexpr std::size_t kLimit = 1000;
}

TEST_CASE("a journal grows by whole lines") {
  TempDir dir;
  const std::string path = dir / "j";
  {
    auto journal = Journal::open(path, kLimit);
    REQUIRE(journal);
    CHECK(journal->text().empty());
    REQUIRE(journal->append("a\n"));
    CHECK(get(path) == "a\n");  // at once
    REQUIRE(journal->append("b\n"));
  }
  auto again = Journal::open(path, kLimit);
  REQUIRE(again);
  CHECK(again->text() == "a\nb\n");
  REQUIRE(again->append("c\n"));
  CHECK(get(path) == "a\nb\nc\n");
}

TEST_CASE("a torn last line is taken away") {
  TempDir dir;
  const std::string path = dir / "j";
  for (const auto& [before, after] : std::vector<std::pair<std::string, std::string>>{
           {"a\nb\nto", "a\nb\n"}, {"torn", ""}, {"a\n", "a\n"}, {"", ""}, {"\n\n", "\n\n"}}) {
    CAPTURE(before);
    put(path, before);
    auto journal = Journal::open(path, kLimit);
    REQUIRE(journal);
    CHECK(journal->text() == after);
    CHECK(get(path) == after);
    REQUIRE(journal->append("next\n"));
    CHECK(get(path) == after + "next\n");
  }
}

TEST_CASE("one journal at a time") {
  TempDir dir;
  const std::string path = dir / "j";
  auto first = Journal::open(path, kLimit);
  REQUIRE(first);
  const auto second = Journal::open(path, kLimit);
  REQUIRE_FALSE(second);
  CHECK(render(second.error()) ==
        path +
            ": is being written by another run, which holds a lock on it\n  hint: run again when "
            "that has ended");
}

TEST_CASE("what cannot be a journal") {
  TempDir dir;
  std::filesystem::create_directory(dir / "folder");
  std::filesystem::create_symlink("elsewhere", dir / "link");
  REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
  put(dir / "large", std::string(kLimit + 1, '\n'));
  for (const auto& [name, says] : std::vector<std::pair<std::string, std::string>>{
           {"folder", "cannot open: Is a directory"},
           {"link", "cannot open: Too many levels of symbolic links"},
           {"pipe", "is not a regular file"},
           {"no/such", "cannot open: No such file or directory"},
           {"large", "is larger than 1000 bytes, the most that is read of such a file"}}) {
    const auto journal = Journal::open(dir / name, kLimit);
    REQUIRE_FALSE(journal);
    CHECK(journal.error().kind == Error::Kind::io);
    CHECK(render(journal.error()) == (dir / name) + ": " + says);
  }
  CHECK_FALSE(std::filesystem::exists(dir / "elsewhere"));
  CHECK(get(dir / "large").size() == kLimit + 1);
}

TEST_CASE("a line that does not fit leaves nothing of itself") {
  TempDir dir;
  const std::string path = dir / "j";
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    (void)std::signal(SIGXFSZ, SIG_IGN);
    const rlimit six{6, 6};
    if (::setrlimit(RLIMIT_FSIZE, &six) != 0) ::_exit(9);
    auto journal = Journal::open(path, kLimit);
    if (!journal || !journal->append("one\n")) ::_exit(8);
    if (journal->append("second\n")) ::_exit(7);
    ::_exit(get(path) == "one\n" ? 0 : 6);
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  CHECK(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 0);
}

}  // namespace forewarm::io
