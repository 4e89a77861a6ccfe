#include "io/file_source.h"

#include <fcntl.h>

#include <thread>

#include "io_test_help.h"

namespace forewarm::io {

namespace {
std::string all(ByteSource& source) {
  std::string out;
  std::vector<char> buffer(1000);
  while (true) {
    auto got = source.read_at(out.size(), buffer);
    need(got);
    if (*got == 0) return out;
    out.append(buffer.data(), *got);
  }
}
}  // namespace

TEST_CASE("a file source reads at any offset, as often as asked") {
  const TempDir dir;
  const std::string text = noise(100000);
  put(dir / "job", text);
  auto source = FileSource::open(dir / "job");
  need(source);
  CHECK(source->size() == text.size());
  CHECK(source->path() == dir / "job");
  CHECK((all(*source) == text));
  CHECK((all(*source) == text));
  std::string five(5, '\0');
  auto got = source->read_at(99998, five);
  need(got);
  CHECK(*got == 2);
  CHECK(five.substr(0, 2) == text.substr(99998));
  for (const std::uint64_t past : {std::uint64_t{100000}, UINT64_MAX}) {
    got = source->read_at(past, five);
    need(got);
    CHECK(*got == 0);
  }
}

TEST_CASE("only regular files are sources, and finding out never hangs") {
  const TempDir dir;
  REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
  const auto message = [](const std::string& path) {
    const auto source = FileSource::open(path);
    REQUIRE(!source.ok());
    CHECK(source.error().kind == Error::Kind::io);
    CHECK(source.error().file == path);
    return source.error().message;
  };
  CHECK(message(dir / "pipe") == "is a pipe, not a regular file");
  CHECK(message(dir.path()) == "is a folder, not a file");
  CHECK(message("/dev/null") == "is not a regular file");
  CHECK(message(dir / "missing") == "cannot open: No such file or directory");
}

TEST_CASE("a source tells when its file is no longer what it was") {
  const TempDir dir;
  const std::string path = dir / "job";
  put(path, "G1 X1\n");
  // Away from now, so that a change cannot fall into the same tick of the clock.
  const timespec old[2] = {{1000000, 0}, {1000000, 0}};
  REQUIRE(::utimensat(AT_FDCWD, path.c_str(), old, 0) == 0);
  std::this_thread::sleep_for(std::chrono::milliseconds(20));
  auto source = FileSource::open(path);
  need(source);
  need(source->unchanged());

  SECTION("read") { (void)get(path); }
  SECTION("written, same size") { put(path, "G1 X2\n"); }
  SECTION("written, and its time set back") {
    put(path, "G1 X2\n");
    REQUIRE(::utimensat(AT_FDCWD, path.c_str(), old, 0) == 0);
  }
  SECTION("longer") { put(path, "G1 X1\nG1 X2\n"); }
  SECTION("replaced by an equal one") {
    std::filesystem::copy_file(path, dir / "other");
    std::filesystem::rename(dir / "other", path);
  }
  SECTION("gone") { std::filesystem::remove(path); }
  const bool same = std::filesystem::exists(path) && get(path) == "G1 X1\n" &&
                    stat_of(path).st_ino == source->identity().inode;
  const auto status = source->unchanged();
  CHECK(status.ok() == same);
  if (!status) CHECK(status.error().file == path);
}

TEST_CASE("a link that leads elsewhere by now is a change") {
  const TempDir dir;
  put(dir / "a", "a");
  put(dir / "b", "b");
  std::filesystem::create_symlink("a", dir / "job");
  auto source = FileSource::open(dir / "job");
  need(source);
  need(source->unchanged());
  std::filesystem::remove(dir / "job");
  std::filesystem::create_symlink("b", dir / "job");
  CHECK(!source->unchanged().ok());
}

TEST_CASE("a file cut short is an error, bytes appended are not seen") {
  const TempDir dir;
  const std::string path = dir / "job";
  put(path, "0123456789");
  auto source = FileSource::open(path);
  need(source);
  std::string buffer(20, '\0');
  std::ofstream(path, std::ios::app) << "more";
  auto got = source->read_at(0, buffer);
  need(got);
  CHECK(*got == 10);
  std::filesystem::resize_file(path, 4);
  got = source->read_at(4, buffer);
  REQUIRE(!got.ok());
  CHECK(got.error().message.find("shorter") != std::string::npos);
}

TEST_CASE("a pipe is spooled whole, and leaves no file") {
  const TempDir dir;
  REQUIRE(::setenv("TMPDIR", dir.path().c_str(), 1) == 0);
  const std::string text = noise(1'000'000);
  int ends[2];
  // Non-blocking, as another program may have left it: waiting for more is then up to us.
  REQUIRE(::pipe2(ends, O_CLOEXEC) == 0);
  REQUIRE(::fcntl(ends[0], F_SETFL, O_NONBLOCK) == 0);
  std::thread writer([&] {
    for (std::size_t at = 0; at < text.size(); at += 100'000) {
      std::size_t done = 0;
      while (done < 100'000) {
        const ssize_t n = ::write(ends[1], text.data() + at + done, 100'000 - done);
        if (n <= 0) break;
        done += std::size_t(n);
      }
      if (at % 300'000 == 0) std::this_thread::sleep_for(std::chrono::milliseconds(10));
    }
    ::close(ends[1]);
  });
  auto source = FileSource::spool(ends[0]);
  writer.join();
  ::close(ends[0]);
  ::unsetenv("TMPDIR");
  need(source);
  CHECK(source->size() == text.size());
  CHECK((all(*source) == text));
  CHECK(source->path() == "standard input");
  need(source->unchanged());
  CHECK(dir.names().empty());
}

TEST_CASE("spooling says what cannot be read and where nothing can be written") {
  const TempDir dir;
  const auto closed = FileSource::spool(-1);
  REQUIRE(!closed.ok());
  CHECK(render(closed.error()) == "standard input: cannot read: Bad file descriptor");
  REQUIRE(::setenv("TMPDIR", (dir / "missing").c_str(), 1) == 0);
  const auto nowhere = FileSource::spool(-1);
  ::unsetenv("TMPDIR");
  REQUIRE(!nowhere.ok());
  CHECK(nowhere.error().file == dir / "missing");
}

}  // namespace forewarm::io
