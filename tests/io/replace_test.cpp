#include "io/replace.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/xattr.h>

#include <atomic>
#include <thread>

#include "io/file_source.h"
#include "io_test_help.h"

namespace forewarm::io {

namespace {

using Names = std::vector<std::string>;

// The whole of it, as a caller does it.
Status rewrite(const std::string& path, const std::string& text) {
  auto r = Replacement::open(path);
  if (!r) return std::move(r.error());
  if (auto s = (*r)->sink().write(text); !s) return s;
  return (*r)->commit();
}

std::string refused(const Result<std::unique_ptr<Replacement>>& r) {
  REQUIRE(!r.ok());
  CHECK(r.error().kind == Error::Kind::io);
  CHECK(!r.error().file.empty());
  return r.error().message;
}

Replacement::Options impatient() {
  Replacement::Options options;
  options.lock_wait = std::chrono::milliseconds(60);
  return options;
}

}  // namespace

TEST_CASE("a file is replaced whole, with its mode") {
  const TempDir dir;
  const std::string path = dir / "job.gcode";
  const unsigned mode = GENERATE(0644U, 0600U, 0664U, 0755U, 0200U, 0246U, 04755U, 02640U);
  if (::geteuid() != 0 && (mode & 0400U) == 0) return;
  put(path, "old");
  REQUIRE(::chmod(path.c_str(), mode) == 0);
  const auto inode = stat_of(path).st_ino;
  auto r = Replacement::open(path);
  need(r);
  CHECK((*r)->path() == path);
  CHECK(!(*r)->direct());
  CHECK(dir.names().size() == 2);
  for (const auto& name : dir.names()) {
    if (name == "job.gcode") continue;
    CHECK(name.starts_with(".job.gcode.fw-tmp-"));
    CHECK(name.size() == std::string(".job.gcode.fw-tmp-").size() + 16);
    CHECK(mode_of(dir / name) == 0600);
  }
  need((*r)->sink().write("new bytes"));
  CHECK(get(path) == "old");
  need((*r)->commit());
  CHECK(!(*r)->warning());
  CHECK(get(path) == "new bytes");
  CHECK(mode_of(path) == mode);
  CHECK(stat_of(path).st_ino != inode);
  CHECK(dir.names() == Names{"job.gcode"});
}

TEST_CASE("owner and group are kept by whoever may give files away") {
  if (::geteuid() != 0) {
    WARN("skipped: not root");
    return;
  }
  const TempDir dir;
  put(dir / "job", "old");
  REQUIRE(::chown((dir / "job").c_str(), 1234, 4321) == 0);
  REQUIRE(::chmod((dir / "job").c_str(), 06750) == 0);
  need(rewrite(dir / "job", "new"));
  CHECK(stat_of(dir / "job").st_uid == 1234);
  CHECK(stat_of(dir / "job").st_gid == 4321);
  CHECK(mode_of(dir / "job") == 06750);
}

TEST_CASE("who may not give files away keeps their own group out, or is refused") {
  if (::geteuid() != 0) {
    WARN("skipped: not root");
    return;
  }
  const TempDir dir;
  REQUIRE(::chmod(dir.path().c_str(), 0777) == 0);
  put(dir / "ours", "old");
  REQUIRE(::chown((dir / "ours").c_str(), 65534, 4321) == 0);
  REQUIRE(::chmod((dir / "ours").c_str(), 02664) == 0);
  put(dir / "theirs", "old");
  REQUIRE(::chown((dir / "theirs").c_str(), 1234, 1234) == 0);
  REQUIRE(::chmod((dir / "theirs").c_str(), 0666) == 0);
  const int status = in_child([&] {
    if (!become_nobody()) return 1;
    if (!rewrite(dir / "ours", "new").ok()) return 2;
    const auto theirs = Replacement::open(dir / "theirs");
    if (theirs.ok()) return 3;
    return theirs.error().message.find("belongs to another user") == 0 ? 0 : 4;
  });
  CHECK(status == 0);
  CHECK(get(dir / "ours") == "new");
  CHECK(mode_of(dir / "ours") == 0644);  // not 0664 for a group that it was not meant for
  CHECK(get(dir / "theirs") == "old");
  CHECK(dir.names() == Names{"ours", "theirs"});
}

TEST_CASE("extended attributes are kept") {
  const TempDir dir;
  const std::string path = dir / "job";
  put(path, "old");
  const std::string value = noise(300);
  if (::setxattr(path.c_str(), "user.note", value.data(), value.size(), 0) != 0) {
    WARN("skipped: no user attributes here");
    return;
  }
  REQUIRE(::setxattr(path.c_str(), "user.empty", "", 0, 0) == 0);
  need(rewrite(path, "new"));
  std::string got(1000, '\0');
  const ssize_t size = ::getxattr(path.c_str(), "user.note", got.data(), got.size());
  REQUIRE(size == ssize_t(value.size()));
  got.resize(std::size_t(size));
  CHECK((got == value));
  CHECK(::getxattr(path.c_str(), "user.empty", nullptr, 0) == 0);
}

TEST_CASE("an access list is kept, and none is taken from the folder") {
  const TempDir dir;
  // Version 2; owner rw-, user 1234 rw-, group r--, mask rw-, others ---.
  const unsigned char list[] = {2,    0, 0, 0,                          //
                                1,    0, 6, 0, 0xff, 0xff, 0xff, 0xff,  //
                                2,    0, 6, 0, 0xd2, 4,    0,    0,     //
                                4,    0, 4, 0, 0xff, 0xff, 0xff, 0xff,  //
                                0x10, 0, 6, 0, 0xff, 0xff, 0xff, 0xff,  //
                                0x20, 0, 0, 0, 0xff, 0xff, 0xff, 0xff};
  put(dir / "listed", "old");
  put(dir / "plain", "old");
  REQUIRE(::chmod((dir / "plain").c_str(), 0664) == 0);
  const char* acl = "system.posix_acl_access";
  if (::setxattr((dir / "listed").c_str(), acl, list, sizeof list, 0) != 0 ||
      ::setxattr(dir.path().c_str(), "system.posix_acl_default", list, sizeof list, 0) != 0) {
    WARN("skipped: no access lists here");
    return;
  }
  need(rewrite(dir / "listed", "new"));
  need(rewrite(dir / "plain", "new"));
  unsigned char got[200];
  REQUIRE(::getxattr((dir / "listed").c_str(), acl, got, sizeof got) == sizeof list);
  CHECK(std::equal(std::begin(list), std::end(list), got));
  CHECK(mode_of(dir / "listed") == 0660);
  CHECK(::getxattr((dir / "plain").c_str(), acl, got, sizeof got) < 0);
  CHECK(mode_of(dir / "plain") == 0664);
  // A new file gets what the folder gives.
  auto r = Replacement::create(dir / "new");
  need(r);
  need((*r)->commit());
  CHECK(::getxattr((dir / "new").c_str(), acl, got, sizeof got) > 0);
}

TEST_CASE("a symbolic link stays, what it leads to is replaced") {
  const TempDir dir;
  std::filesystem::create_directory(dir / "real");
  put(dir / "real/job", "old");
  std::filesystem::create_symlink("real/job", dir / "link");
  std::filesystem::create_symlink("link", dir / "link2");
  const bool create = GENERATE(false, true);
  auto r = create ? Replacement::create(dir / "link2") : Replacement::open(dir / "link2");
  need(r);
  CHECK((*r)->path() == dir / "real/job");
  need((*r)->sink().write("new"));
  need((*r)->commit());
  CHECK(std::filesystem::read_symlink(dir / "link") == "real/job");
  CHECK(std::filesystem::read_symlink(dir / "link2") == "link");
  CHECK(std::filesystem::is_regular_file(std::filesystem::symlink_status(dir / "real/job")));
  CHECK(get(dir / "real/job") == "new");
}

TEST_CASE("hard links are refused unless asked for") {
  const TempDir dir;
  put(dir / "a", "old");
  std::filesystem::create_hard_link(dir / "a", dir / "b");
  CHECK(refused(Replacement::open(dir / "a")).find("2 names") != std::string::npos);
  CHECK(refused(Replacement::create(dir / "a")).find("2 names") != std::string::npos);
  CHECK(Replacement::open(dir / "a").error().hint.empty());
  CHECK(Replacement::open(dir / "a", {.elsewhere = "copy it"}).error().hint == "copy it");
  Replacement::Options options;
  options.allow_hard_linked = true;
  auto r = Replacement::open(dir / "a", options);
  need(r);
  need((*r)->sink().write("new"));
  need((*r)->commit());
  CHECK(get(dir / "a") == "new");
  CHECK(get(dir / "b") == "old");
}

TEST_CASE("what cannot or must not be replaced is refused before anything is written") {
  const TempDir dir;
  std::filesystem::create_directory(dir / "folder");
  REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
  put(dir / "read-only", "old");
  REQUIRE(::chmod((dir / "read-only").c_str(), 0444) == 0);
  std::filesystem::create_symlink("nowhere", dir / "dangling");
  const Names before = dir.names();

  CHECK(refused(Replacement::open(dir / "folder")) == "is a folder, not a file");
  CHECK(refused(Replacement::create(dir / "folder")) == "is a folder, not a file");
  CHECK(refused(Replacement::create(dir / "folder/")) == "is a folder, not a file");
  CHECK(refused(Replacement::open(dir / "pipe")) == "is a pipe, not a regular file");
  CHECK(refused(Replacement::open("/dev/null")) == "is not a regular file");
  CHECK(refused(Replacement::open(dir / "read-only")).find("read-only") != std::string::npos);
  CHECK(refused(Replacement::create(dir / "read-only")).find("read-only") != std::string::npos);
  CHECK(refused(Replacement::open(dir / "missing")) == "cannot open: No such file or directory");
  CHECK(refused(Replacement::open(dir / "dangling")) == "cannot open: No such file or directory");
  CHECK(refused(Replacement::create(dir / "dangling")) == "is a symbolic link that leads nowhere");
  CHECK(refused(Replacement::create(dir / "missing/job")) ==
        "cannot open this folder: No such file or directory");
  CHECK(refused(Replacement::create(dir / "missing/")) == "is not the name of a file");
  CHECK(refused(Replacement::create(dir / "read-only/x")).find("Not a directory") !=
        std::string::npos);
  CHECK(!Replacement::create("").ok());
  CHECK(dir.names() == before);
}

TEST_CASE("files and folders that permissions close are refused") {
  const TempDir dir;
  REQUIRE(::chmod(dir.path().c_str(), 0755) == 0);
  std::filesystem::create_directory(dir / "sticky");
  REQUIRE(::chmod((dir / "sticky").c_str(), 01777) == 0);
  for (const char* name : {"job", "sticky/job"}) {
    put(dir / name, "old");
    REQUIRE(::chmod((dir / name).c_str(), 0666) == 0);
  }
  put(dir / "closed", "old");
  REQUIRE(::chmod((dir / "closed").c_str(), 0644) == 0);
  if (::geteuid() != 0) {
    WARN("skipped: not root");
    return;
  }
  const int status = in_child([&] {
    if (!become_nobody()) return 1;
    const auto says = [](const Result<std::unique_ptr<Replacement>>& r, const char* part) {
      return !r.ok() && r.error().message.find(part) != std::string::npos;
    };
    if (!says(Replacement::open(dir / "job"), "cannot write to this folder: Perm")) return 2;
    if (!says(Replacement::create(dir / "new"), "cannot write to this folder: Perm")) return 3;
    if (!says(Replacement::open(dir / "closed"), "cannot write to it: Perm")) return 4;
    if (!says(Replacement::open(dir / "sticky/job"), "only they may replace it")) return 5;
    return 0;
  });
  CHECK(status == 0);
}

TEST_CASE("a new file gets the mode that new files get") {
  const TempDir dir;
  const mode_t before = ::umask(027);
  auto r = Replacement::create(dir / "new.gcode");
  ::umask(before);
  need(r);
  need((*r)->sink().write("bytes"));
  CHECK(!std::filesystem::exists(dir / "new.gcode"));
  need((*r)->commit());
  CHECK(get(dir / "new.gcode") == "bytes");
  CHECK(mode_of(dir / "new.gcode") == 0640);
  CHECK(dir.names() == Names{"new.gcode"});
}

TEST_CASE("relative paths and very long names work") {
  const TempDir dir;
  const auto before = std::filesystem::current_path();
  std::filesystem::current_path(dir.path());
  // Two bytes each, so that the cut could fall inside one.
  std::string name(1, 'x');
  for (int i = 0; i < 127; ++i) name += "\xc3\xa9";
  REQUIRE(name.size() == 255);
  for (int round = 0; round < 2; ++round) {
    auto r = Replacement::create(name);
    need(r);
    for (const auto& n : dir.names()) CHECK(n.find("\xc3.") == std::string::npos);
    need((*r)->sink().write("bytes"));
    need((*r)->commit());
  }
  need(rewrite("./" + name, "more"));
  std::filesystem::current_path(before);
  CHECK(get(dir / name) == "more");
}

TEST_CASE("an existing output keeps its mode") {
  const TempDir dir;
  put(dir / "out", "old, and longer than the new");
  REQUIRE(::chmod((dir / "out").c_str(), 0604) == 0);
  auto r = Replacement::create(dir / "out");
  need(r);
  need((*r)->sink().write("new"));
  need((*r)->commit());
  CHECK(get(dir / "out") == "new");
  CHECK(mode_of(dir / "out") == 0604);
}

TEST_CASE("devices, pipes and our own descriptors are written to as they are") {
  const TempDir dir;
  SECTION("null") {
    auto r = Replacement::create("/dev/null");
    need(r);
    CHECK((*r)->direct());
    need((*r)->sink().write("bytes"));
    need((*r)->commit());
    CHECK(S_ISCHR(stat_of("/dev/null").st_mode));
  }
  SECTION("full") {
    auto r = Replacement::create("/dev/full");
    need(r);
    need((*r)->sink().write("bytes"));
    const auto status = (*r)->commit();
    REQUIRE(!status.ok());
    CHECK(render(status.error()) == "/dev/full: cannot write: No space left on device");
    CHECK(S_ISCHR(stat_of("/dev/full").st_mode));
  }
  SECTION("FIFO") {
    REQUIRE(::mkfifo((dir / "pipe").c_str(), 0600) == 0);
    std::string text;
    std::thread reader([&] { text = get(dir / "pipe"); });
    {
      auto r = Replacement::create(dir / "pipe");
      need(r);
      need((*r)->sink().write("bytes"));
      need((*r)->commit());
    }
    reader.join();
    CHECK(text == "bytes");
    CHECK(S_ISFIFO(stat_of(dir / "pipe").st_mode));
  }
  SECTION("descriptor") {
    put(dir / "out", "");
    const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_APPEND));
    REQUIRE(::write(fd.get(), "before ", 7) == 7);
    const auto inode = stat_of(dir / "out").st_ino;
    for (const std::string folder : {"/dev/fd/", "/proc/self/fd/"}) {
      auto r = Replacement::create(folder + std::to_string(fd.get()));
      need(r);
      CHECK((*r)->direct());
      need((*r)->sink().write("bytes "));
      need((*r)->commit());
    }
    CHECK(get(dir / "out") == "before bytes bytes ");
    CHECK(stat_of(dir / "out").st_ino == inode);
  }
  SECTION("standard output, in a child that has it redirected") {
    put(dir / "out", "");
    const int status = in_child([&] {
      const int fd = ::open((dir / "out").c_str(), O_WRONLY);
      if (::dup2(fd, 1) != 1) return 1;
      auto r = Replacement::create("/dev/stdout");
      if (!r.ok() || !(*r)->sink().write("bytes").ok() || !(*r)->commit().ok()) return 2;
      return ::write(1, "!", 1) == 1 ? 0 : 3;
    });
    CHECK(status == 0);
    CHECK(get(dir / "out") == "bytes!");
  }
  SECTION("a descriptor that is not open") {
    CHECK(refused(Replacement::create("/dev/fd/987")).find("Bad file descriptor") !=
          std::string::npos);
  }
}

TEST_CASE("paths that stand for descriptors of ours") {
  CHECK(own_descriptor("/dev/stdout") == 1);
  CHECK(own_descriptor("/dev/stderr") == 2);
  CHECK(own_descriptor("/dev/fd/3") == 3);
  CHECK(own_descriptor("/proc/self/fd/12") == 12);
  for (const char* path :
       {"", "-", "1", "stdout", "dev/stdout", "/dev/stdout/", "/dev/fd", "/dev/fd/", "/dev/fd/-1",
        "/dev/fd/1x", "/dev/fd/99999999999", "/dev/null", "/proc/self/fd/", "/proc/1/fd/1"}) {
    CAPTURE(path);
    CHECK_FALSE(own_descriptor(path));
  }
}

TEST_CASE("without a commit nothing has happened") {
  const TempDir dir;
  put(dir / "job", "old");
  {
    auto r = Replacement::open(dir / "job");
    need(r);
    auto n = Replacement::create(dir / "new");
    need(n);
    need((*r)->sink().write(noise(1'000'000)));
    CHECK(dir.names().size() == 3);
  }
  CHECK(dir.names() == Names{"job"});
  CHECK(get(dir / "job") == "old");
}

TEST_CASE("what was written is read back before it is in place") {
  const TempDir dir;
  const std::string path = dir / "job.gcode";
  const bool new_file = GENERATE(true, false);
  if (!new_file) put(path, "old");
  auto r = Replacement::create(path);
  need(r);
  need((*r)->sink().write("new bytes"));
  {
    auto back = (*r)->read_back();
    need(back);
    REQUIRE(back->size() == 9);
    std::string text(9, ' ');
    auto got = back->read_at(0, text);
    need(got);
    CHECK(*got == 9);
    CHECK(text == "new bytes");
  }
  if (!new_file) CHECK(get(path) == "old");
  need((*r)->commit());
  CHECK(get(path) == "new bytes");
  CHECK(dir.names() == Names{"job.gcode"});
}

TEST_CASE("what is prepared is not in place, and can still come to nothing") {
  const TempDir dir;
  const std::string path = dir / "job.gcode";
  put(path, "old");
  REQUIRE(::chmod(path.c_str(), 0640) == 0);
  auto source = FileSource::open(path);
  need(source);
  {
    auto r = Replacement::open(path);
    need(r);
    need((*r)->sink().write("new bytes"));
    need((*r)->prepare(&*source));
    CHECK(get(path) == "old");
    SECTION("left") {}
    SECTION("changed meanwhile") {
      put(path, "others' bytes");
      const Status s = (*r)->commit(&*source);
      REQUIRE(!s.ok());
      CHECK(s.error().message.find("the file changed while") != std::string::npos);
      CHECK(get(path) == "others' bytes");
      put(path, "old");
    }
    SECTION("put in place") {
      need((*r)->commit(&*source));
      CHECK(get(path) == "new bytes");
      CHECK(mode_of(path) == 0640);
      put(path, "old");
    }
  }
  CHECK(get(path) == "old");
  CHECK(dir.names() == Names{"job.gcode"});
}

TEST_CASE("a source that changed meanwhile stops the replacement") {
  const TempDir dir;
  put(dir / "job", "old");
  auto r = Replacement::open(dir / "job");
  need(r);
  auto source = FileSource::open(dir / "job");
  need(source);
  need((*r)->sink().copy(*source, 0, source->size()));
  std::string now;
  SECTION("written to") { put(dir / "job", now = "written by the slicer"); }
  SECTION("replaced") {
    put(dir / "other", now = "another");
    std::filesystem::rename(dir / "other", dir / "job");
  }
  const auto status = (*r)->commit(&*source);
  REQUIRE(!status.ok());
  CHECK(status.error().message.find("changed") != std::string::npos);
  CHECK(get(dir / "job") == now);
  CHECK(dir.names() == Names{"job"});
}

TEST_CASE("the source of a replacement may be the file itself") {
  const TempDir dir;
  const std::string text = noise(500'000);
  put(dir / "job", text);
  auto r = Replacement::open(dir / "job");
  need(r);
  auto source = FileSource::open(dir / "job");
  need(source);
  need((*r)->sink().write("first line\n"));
  need((*r)->sink().copy(*source, 0, source->size()));
  need((*r)->commit(&*source));
  CHECK((get(dir / "job") == "first line\n" + text));
}

TEST_CASE("the file size limit leaves the old file and no other") {
  const TempDir dir;
  put(dir / "job", "old");
  const int status = in_child([&] {
    ignore_write_signals();
    const rlimit limit{100'000, 100'000};
    if (::setrlimit(RLIMIT_FSIZE, &limit) != 0) return 1;
    const auto failed = rewrite(dir / "job", noise(1'000'000));
    if (failed.ok()) return 2;
    return render(failed.error()) == dir / "job" + ": cannot write: File too large" ? 0 : 3;
  });
  CHECK(status == 0);
  CHECK(get(dir / "job") == "old");
  CHECK(dir.names() == Names{"job"});
}

TEST_CASE("two replacements of one file take turns") {
  const TempDir dir;
  const std::string path = dir / "job";
  put(path, "0");
  SECTION("the second gives up after its wait") {
    auto first = Replacement::open(path);
    need(first);
    CHECK(refused(Replacement::open(path, impatient())).find("another program") !=
          std::string::npos);
    CHECK(dir.names().size() == 2);
    need((*first)->sink().write("1"));
    need((*first)->commit());
    // Free again after the commit, although `first` still lives.
    need(Replacement::open(path, impatient()));
  }
  SECTION("a lock of another program counts as well") {
    const UniqueFd fd(open_fd(path, O_RDONLY));
    REQUIRE(::flock(fd.get(), LOCK_EX) == 0);
    CHECK(!Replacement::open(path, impatient()).ok());
    REQUIRE(::flock(fd.get(), LOCK_UN) == 0);
    need(Replacement::open(path, impatient()));
  }
  SECTION("many at once: each sees what the one before it wrote") {
    std::atomic<int> failures{0};
    std::vector<std::thread> workers;
    for (int t = 0; t < 8; ++t) {
      workers.emplace_back([&] {
        for (int i = 0; i < 50; ++i) {
          auto r = Replacement::open(path);
          auto source = FileSource::open(path);
          if (!r.ok() || !source.ok()) {
            ++failures;
            continue;
          }
          std::string text(10, '\0');
          const auto got = source->read_at(0, text);
          if (!got.ok()) ++failures;
          text.resize(got.ok() ? *got : 0);
          const std::string next = std::to_string(std::stoi(text) + 1);
          if (!(*r)->sink().write(next).ok() || !(*r)->commit(&*source).ok()) ++failures;
        }
      });
    }
    for (auto& worker : workers) worker.join();
    CHECK(failures == 0);
    CHECK(get(path) == "400");
    CHECK(dir.names() == Names{"job"});
  }
}

TEST_CASE("a target that became a folder is an error, and the temporary file goes") {
  const TempDir dir;
  auto r = Replacement::create(dir / "out");
  need(r);
  need((*r)->sink().write("bytes"));
  std::filesystem::create_directory(dir / "out");
  const auto status = (*r)->commit();
  REQUIRE(!status.ok());
  CHECK(status.error().message.find("Is a directory") != std::string::npos);
  CHECK(dir.names() == Names{"out"});
}

}  // namespace forewarm::io
