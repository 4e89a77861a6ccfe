// Failing sinks and sources: whatever byte or read it is that fails, the caller gets that very
// error, and what was written until then is the beginning of what a run without faults writes.
#include <malloc.h>

#include "help/text.h"
#include "rewrite/diff.h"
#include "rewrite/rewrite_test_help.h"

using namespace forewarm;
using forewarm::test::summed;
using namespace forewarm::rewrite;

namespace {

// Each of many thousand runs has buffers of a megabyte. Given back to the system and fetched anew
// each time, they would take most of this test's time.
const bool kKeepMemory =
    mallopt(M_MMAP_THRESHOLD, 1 << 25) == 1 && mallopt(M_TRIM_THRESHOLD, 1 << 28) == 1;

// Every byte; but the address sanitizer makes those buffers so slow that there it is every seventh,
// and each of the last ones.
std::size_t after(std::size_t n, std::size_t size) {
#ifdef __SANITIZE_ADDRESS__
  return n + 20 < size ? n + 7 : n + 1;
#else
  (void)size;
  return n + 1;
#endif
}

// Every field set, so that an error that was worded anew on its way is not taken for this one.
const Error kFault{.kind = Error::Kind::io,
                   .message = "the bird hide is flooded",
                   .file = "trail.gcode",
                   .line = 7,
                   .column = 3,
                   .excerpt = "G1 X7",
                   .hint = "come back in spring"};

bool is_the_fault(const Error& e) {
  return e.kind == kFault.kind && e.message == kFault.message && e.file == kFault.file &&
         e.line == kFault.line && e.column == kFault.column && e.excerpt == kFault.excerpt &&
         e.hint == kFault.hint;
}

// Takes `most` bytes, the last ones perhaps of half a write, then fails; as a full disk does.
class FullSink final : public ByteSink {
 public:
  // `copies`: has a way of its own to copy, as a file has; otherwise what is copied is written.
  FullSink(std::size_t most, bool copies) : left_(most), copies_(copies) {}

  [[nodiscard]] Status write(std::string_view bytes) override {
    if (failed_) return called_again();
    const std::size_t fits = std::min(left_, bytes.size());
    text_.append(bytes.substr(0, fits));
    left_ -= fits;
    if (fits == bytes.size()) return success();
    failed_ = true;
    return kFault;
  }

  [[nodiscard]] Status copy(ByteSource& source, std::uint64_t offset,
                            std::uint64_t length) override {
    if (!copies_) return ByteSink::copy(source, offset, length);
    if (failed_) return called_again();
    for (char c = 0; length > 0; --length, ++offset) {
      auto got = source.read_at(offset, std::span(&c, 1));
      if (!got) return std::move(got.error());
      if (*got == 0) return Error{Error::Kind::internal, "copied past the end"};
      if (left_ == 0) {
        failed_ = true;
        return kFault;
      }
      --left_;
      text_ += c;
    }
    return success();
  }

  [[nodiscard]] const std::string& text() const { return text_; }
  [[nodiscard]] bool failed() const { return failed_; }
  [[nodiscard]] bool used_when_spent() const { return used_when_spent_; }

 private:
  Status called_again() {
    used_when_spent_ = true;
    return kFault;
  }

  std::size_t left_;
  bool copies_;
  bool failed_ = false;
  bool used_when_spent_ = false;
  std::string text_;
};

// Fails where a byte from `bad` on is wanted first, as a disk with a bad sector does, or at read
// number `reads`, counted from 0.
class BadSource final : public ByteSource {
 public:
  static constexpr std::size_t kNever = SIZE_MAX;
  BadSource(std::string_view text, std::size_t bad, std::size_t reads, std::size_t most)
      : text_(text, most), bad_(bad), reads_(reads) {}
  [[nodiscard]] std::uint64_t size() const override { return text_.size(); }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override {
    const bool inside = offset < text_.size() && !into.empty();
    if (reads_ == 0 || (inside && offset >= bad_)) {
      failed_ = true;
      return kFault;
    }
    if (reads_ != kNever) --reads_;
    if (inside) into = into.first(std::min(into.size(), bad_ - std::size_t(offset)));
    return text_.read_at(offset, into);
  }
  [[nodiscard]] bool failed() const { return failed_; }

 private:
  TextSource text_;
  std::size_t bad_, reads_;
  bool failed_ = false;
};

// Two toolheads, both with a gap, a stale target in one; the end left hot, so that the last
// command comes after the last line.
std::string small_job(const std::string& ending, bool numbered, bool last_ending) {
  std::string out;
  int n = 1;
  for (const char* line : {"G21", "G90", "M83", "M104 T0 S200", "M104 T1 S210", "T0",
                           "M109 T0 S200", "G1 X10 Y10 F6000", "G1 X20 Y10 E1 F1200",
                           "M104 T0 S150", "T1", "M109 T1 S210", "G1 X10 Y20 E1", "G4 S400",
                           "G4 S400", "G1 X10 Y30 E1", "T0", "M109 T0 S200", "G1 X10 Y30 E1"}) {
    out += (numbered ? summed("N" + std::to_string(n++) + " " + line) : line) + ending;
  }
  if (!last_ending) out.resize(out.size() - ending.size());
  return out;
}

struct Case {
  std::string name, text;
};
const std::vector<Case>& cases() {
  static const std::vector<Case> all = {
      {"plain", small_job("\n", false, true)},
      {"CR LF", small_job("\r\n", false, true)},
      {"numbered", small_job("\n", true, true)},
      {"no final newline", small_job("\n", false, false)},
      {"numbered, CR LF, no final newline", small_job("\r\n", true, false)},
  };
  return all;
}

// The sources that a run reads, and the sink that it writes to.
using Body = std::function<Status(std::vector<BadSource>&, ByteSink&)>;

std::vector<BadSource> sources_of(const std::vector<std::string>& texts, std::size_t most) {
  std::vector<BadSource> out;
  for (const std::string& text : texts) {
    out.emplace_back(text, BadSource::kNever, BadSource::kNever, most);
  }
  return out;
}

std::string faultless(const std::vector<std::string>& texts, const Body& body) {
  auto sources = sources_of(texts, SIZE_MAX);
  TextSink sink;
  if (auto s = body(sources, sink); !s) FAIL(render(s.error()));
  return sink.text();
}

// `copying`: the run uses copy(), which a sink may do in two ways.
void fail_each_byte_written(const std::vector<std::string>& texts, const Body& body,
                            bool copying = false) {
  const std::string whole = faultless(texts, body);
  REQUIRE(whole.size() > 190);
  for (const bool copies : {false, true}) {
    if (copies && !copying) continue;
    for (std::size_t n = 0; n <= whole.size() + 2; n = after(n, whole.size())) {
      CAPTURE(copies, n);
      auto sources = sources_of(texts, SIZE_MAX);
      FullSink sink(n, copies);
      const Status status = body(sources, sink);
      REQUIRE(status.ok() == (n >= whole.size()));
      REQUIRE(sink.failed() == !status.ok());
      if (!status) REQUIRE(is_the_fault(status.error()));
      REQUIRE_FALSE(sink.used_when_spent());
      REQUIRE(sink.text() == whole.substr(0, n));
    }
  }
}

void fail_each_read(const std::vector<std::string>& texts, const Body& body) {
  const std::string whole = faultless(texts, body);
  // True if the fault was met.
  const auto run = [&](std::size_t which, std::size_t bad, std::size_t reads, std::size_t most) {
    CAPTURE(which, bad, reads, most);
    auto sources = sources_of(texts, most);
    sources[which] = BadSource(texts[which], bad, reads, most);
    FullSink sink(whole.size() + 1, false);
    const Status status = body(sources, sink);
    const bool met = sources[which].failed();
    REQUIRE(status.ok() == !met);
    if (met) {
      REQUIRE(is_the_fault(status.error()));
      REQUIRE(whole.starts_with(sink.text()));
    } else {
      REQUIRE(sink.text() == whole);
    }
    return met;
  };
  for (std::size_t which = 0; which < texts.size(); ++which) {
    for (std::size_t bad = 0; bad < texts[which].size(); bad = after(bad, texts[which].size())) {
      REQUIRE(run(which, bad, BadSource::kNever, SIZE_MAX));
    }
    REQUIRE_FALSE(run(which, texts[which].size(), BadSource::kNever, SIZE_MAX));
    std::size_t reads = 0;
    while (run(which, BadSource::kNever, reads, 16)) ++reads;
    CHECK(reads >= texts[which].size() / 16);
  }
}

Body rewriting(const Planned& p) {
  return [&p](std::vector<BadSource>& in, ByteSink& out) -> Status {
    ToSink pieces(in[0], out);
    return rewrite::rewrite(in[0], p.job, p.edits, two_heads().hash, pieces);
  };
}

Status restoring(std::vector<BadSource>& in, ByteSink& out) {
  return restore(in[0], "trail.gcode", out);
}

Status differing(std::vector<BadSource>& in, ByteSink& out) {
  auto differ = diff(in[0], in[1], {"old", "new"}, out);
  if (!differ) return std::move(differ.error());
  return *differ ? success() : Status(Error{Error::Kind::internal, "no difference"});
}

}  // namespace

TEST_CASE("rewrite: a sink that fails at any byte, a source at any byte or read") {
  for (const Case& c : cases()) {
    CAPTURE(c.name);
    const Planned p = planned(c.text, two_heads());
    REQUIRE(std::any_of(p.edits.begin(), p.edits.end(),
                        [](const Edit& e) { return e.kind == Edit::Kind::disable; }));
    fail_each_byte_written({c.text}, rewriting(p), true);
    fail_each_read({c.text}, rewriting(p));
  }
}

TEST_CASE("restore: a sink that fails at any byte, a source at any byte or read") {
  for (const Case& c : cases()) {
    CAPTURE(c.name);
    const std::string once = rewritten(c.text, two_heads());
    REQUIRE(faultless({once}, restoring) == c.text);
    fail_each_byte_written({once}, restoring);
    fail_each_read({once}, restoring);
  }
}

TEST_CASE("diff: a sink that fails at any byte, either source at any byte or read") {
  for (const Case& c : cases()) {
    CAPTURE(c.name);
    const std::string once = rewritten(c.text, two_heads());
    fail_each_byte_written({c.text, once}, differing);
    fail_each_read({c.text, once}, differing);
  }
}

TEST_CASE("diff without marks: a sink that fails at any byte, either source at any byte or read") {
  // From the rewrite to the original: the texts are compared by their lines.
  const std::string& text = cases()[3].text;
  const std::string once = rewritten(text, two_heads());
  fail_each_byte_written({once, text}, differing);
  fail_each_read({once, text}, differing);
}

TEST_CASE("scan: a source that fails at any byte or read") {
  for (const Case& c : cases()) {
    CAPTURE(c.name);
    // Nothing comes out but the Job: enough of it to tell one from another.
    fail_each_read({c.text}, [](std::vector<BadSource>& in, ByteSink& out) -> Status {
      auto job = job::scan(in[0], two_heads(), {});
      if (!job) return std::move(job.error());
      return out.write(std::to_string(job->hash) + " " + std::to_string(job->targets.size()));
    });
  }
}
