#include "io/file_sink.h"

#include <fcntl.h>
#include <sys/resource.h>

#include <thread>

#include "io/cleanup.h"
#include "io/file_source.h"
#include "io_test_help.h"

namespace forewarm::io {

namespace {

// A pipe as small as can be, its writing end non-blocking, and a slow reader: short writes and
// EAGAIN all the way.
class SlowPipe {
 public:
  SlowPipe() {
    int ends[2];
    REQUIRE(::pipe2(ends, O_CLOEXEC) == 0);
    (void)::fcntl(ends[1], F_SETPIPE_SZ, 4096);
    REQUIRE(::fcntl(ends[1], F_SETFL, O_NONBLOCK) == 0);
    write_.reset(ends[1]);
    reader_ = std::thread([this, in = ends[0]] {
      std::vector<char> buffer(1777);
      while (true) {
        const ssize_t got = ::read(in, buffer.data(), buffer.size());
        if (got <= 0) break;
        text_.append(buffer.data(), std::size_t(got));
        if (text_.size() % 13 == 0) std::this_thread::sleep_for(std::chrono::milliseconds(1));
      }
      ::close(in);
    });
  }
  ~SlowPipe() {
    if (reader_.joinable()) (void)finish();
  }
  [[nodiscard]] int fd() const { return write_.get(); }
  const std::string& finish() {
    write_.reset();
    reader_.join();
    return text_;
  }

 private:
  UniqueFd write_;
  std::string text_;
  std::thread reader_;
};

struct Span {
  std::uint64_t offset, length;
};

std::vector<Span> random_spans(std::size_t size, int count) {
  std::mt19937 random(7);
  std::vector<Span> out;
  for (int i = 0; i < count; ++i) {
    const std::uint64_t offset = random() % (size + 1);
    // Around the length from which the kernel copies, and everything else.
    const std::uint64_t most = i % 3 == 0 ? 300 : i % 3 == 1 ? 140'000 : size;
    out.push_back({offset, random() % (std::min(most, size - offset) + 1)});
  }
  return out;
}

// What every way of copying has to give: text and spans alternating.
void write_spans(ByteSink& sink, ByteSource& source, const std::vector<Span>& spans) {
  for (const Span& span : spans) {
    need(sink.write("<"));
    need(sink.copy(source, span.offset, span.length));
    need(sink.write(">\n"));
  }
}

std::string expected(const std::string& text, const std::vector<Span>& spans) {
  std::string out;
  for (const Span& span : spans) {
    out += '<';
    out.append(text, std::size_t(span.offset), std::size_t(span.length));
    out += ">\n";
  }
  return out;
}

}  // namespace

TEST_CASE("writes of every size arrive in order") {
  const TempDir dir;
  const std::string text = noise(300'000);
  for (const std::size_t buffer :
       {std::size_t{0}, std::size_t{1}, std::size_t{100}, FdSink::kBuffer}) {
    const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_CREAT | O_TRUNC, 0600));
    FdSink sink(fd.get(), "out", buffer);
    std::size_t at = 0;
    for (std::size_t n = 0; at < text.size(); n = (n * 7 + 1) % 1009) {
      need(sink.write(std::string_view(text).substr(at, n)));
      at += std::min(n, text.size() - at);
    }
    need(sink.flush());
    CHECK((get(dir / "out") == text));
  }
}

TEST_CASE("nothing is written before it must be, nor by the destructor") {
  const TempDir dir;
  const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_CREAT, 0600));
  {
    FdSink sink(fd.get(), "out");
    need(sink.write("abc"));
    CHECK(get(dir / "out").empty());
    need(sink.flush());
    CHECK(get(dir / "out") == "abc");
    need(sink.write("def"));
  }
  CHECK(get(dir / "out") == "abc");
}

TEST_CASE("copied spans equal the source's bytes, whatever the way") {
  const TempDir dir;
  const std::string text = noise(700'000);
  put(dir / "job", text);
  auto file = FileSource::open(dir / "job");
  need(file);
  TextSource small_reads(text, 333);
  const auto spans = random_spans(text.size(), 120);
  const std::string want = expected(text, spans);
  for (const bool kernel : {true, false}) {
    ByteSource& source = kernel ? static_cast<ByteSource&>(*file) : small_reads;
    INFO("source is a file: " << kernel);
    SECTION("to a file" + std::string(kernel ? ", from a file" : "")) {
      const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_CREAT | O_TRUNC, 0600));
      FdSink sink(fd.get(), "out");
      write_spans(sink, source, spans);
      need(sink.flush());
      CHECK((get(dir / "out") == want));
    }
    SECTION("to a file opened for appending" + std::string(kernel ? ", from a file" : "")) {
      put(dir / "out", "before\n");
      const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_APPEND));
      FdSink sink(fd.get(), "out");
      write_spans(sink, source, spans);
      need(sink.flush());
      CHECK((get(dir / "out") == "before\n" + want));
    }
    SECTION("to another file system" + std::string(kernel ? ", from a file" : "")) {
      const TempDir other("/dev/shm");
      const UniqueFd fd(open_fd(other / "out", O_WRONLY | O_CREAT, 0600));
      FdSink sink(fd.get(), "out");
      write_spans(sink, source, spans);
      need(sink.flush());
      CHECK((get(other / "out") == want));
    }
    SECTION("to a slow pipe" + std::string(kernel ? ", from a file" : "")) {
      SlowPipe pipe;
      const std::vector<Span> few(spans.begin(), spans.begin() + 20);
      FdSink sink(pipe.fd(), "pipe");
      write_spans(sink, source, few);
      need(sink.flush());
      CHECK((pipe.finish() == expected(text, few)));
    }
  }
}

TEST_CASE("a span that goes past the source's end fails and takes nothing that was appended") {
  const TempDir dir;
  put(dir / "job", noise(100'000));
  auto source = FileSource::open(dir / "job");
  need(source);
  std::ofstream(dir / "job", std::ios::app) << noise(100'000);
  const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_CREAT, 0600));
  FdSink sink(fd.get(), "out");
  const auto status = sink.copy(*source, 10'000, 150'000);
  REQUIRE(!status.ok());
  CHECK(status.error().message.find("shorter") != std::string::npos);
  CHECK(std::filesystem::file_size(dir / "out") <= 90'000);
  CHECK(!sink.copy(*source, UINT64_MAX, 70'000).ok());
}

TEST_CASE("a full device is an error, and stays one") {
  const UniqueFd fd(open_fd("/dev/full", O_WRONLY));
  FdSink sink(fd.get(), "/dev/full");
  need(sink.write("G1 X1\n"));  // buffered
  const std::string said = "/dev/full: cannot write: No space left on device";
  auto status = sink.flush();
  REQUIRE(!status.ok());
  CHECK(render(status.error()) == said);
  CHECK(!sink.broken_pipe());
  for (int i = 0; i < 2; ++i) {
    status = i == 0 ? sink.write("x") : sink.flush();
    REQUIRE(!status.ok());
    CHECK(render(status.error()) == said);
  }
  TextSource text("x");
  CHECK(!sink.copy(text, 0, 1).ok());
}

TEST_CASE("a broken pipe can be told from other failures") {
  const int status = in_child([] {
    ignore_write_signals();
    int ends[2];
    if (::pipe(ends) != 0) return 1;
    ::close(ends[0]);
    FdSink sink(ends[1], "standard output");
    if (!sink.write("x").ok()) return 2;
    const auto failed = sink.flush();
    if (failed.ok() || !sink.broken_pipe()) return 3;
    return failed.error().kind == Error::Kind::io ? 0 : 4;
  });
  CHECK(status == 0);
}

TEST_CASE("the file size limit is an error in a copy by the kernel too") {
  const TempDir dir;
  put(dir / "job", noise(1'000'000));
  const int status = in_child([&] {
    ignore_write_signals();
    const rlimit limit{300'000, 300'000};
    if (::setrlimit(RLIMIT_FSIZE, &limit) != 0) return 1;
    auto source = FileSource::open(dir / "job");
    const UniqueFd fd(open_fd(dir / "out", O_WRONLY | O_CREAT, 0600));
    if (!source.ok() || !fd) return 2;
    FdSink sink(fd.get(), "out");
    auto failed = sink.copy(*source, 0, source->size());
    if (failed.ok()) failed = sink.flush();
    if (failed.ok()) return 3;
    return render(failed.error()) == "out: cannot write: File too large" ? 0 : 4;
  });
  CHECK(status == 0);
  CHECK(get(dir / "out") == get(dir / "job").substr(0, 300'000));
}

}  // namespace forewarm::io
