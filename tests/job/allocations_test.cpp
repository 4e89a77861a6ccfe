// A scan takes no memory line by line: ten times the lines, and hardly another allocation. Only a
// line that one of the user's patterns fits costs a few, which RE2 makes. A program of its own, as
// it counts every `new`.
#include <atomic>
#include <cstdlib>
#include <new>

#include "help/jobs.h"

namespace {
std::atomic<std::uint64_t> news{0};
}  // namespace

void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  news.fetch_add(1, std::memory_order_relaxed);
  return std::malloc(size > 0 ? size : 1);  // NOLINT: this is where memory comes from
}
void* operator new(std::size_t size) {
  void* const got = operator new(size, std::nothrow);
  if (got == nullptr) throw std::bad_alloc();
  return got;
}
void operator delete(void* p) noexcept { std::free(p); }               // NOLINT
void operator delete(void* p, std::size_t) noexcept { std::free(p); }  // NOLINT

namespace forewarm {

namespace {

std::string job_of(int times) {
  std::string text = "G28\nT0\nM104 T0 S210\nG1 X1 Y1 E1 F3000\n";
  for (int i = 0; i < times; ++i) {
    text +=
        "; a wall\nG1 X10 Y20 E0.5\nG1 X11.5 E0.031 ; and a note\nG0 X30 Y1.25 F9000\nG1 F1800\n"
        "g1 x4 y5 e.1\nG1 X1 Y2 Z0.2\nG92 E0\nM106 S127.5\nG2 X10 Y10 I5 J0 E1\nM117 on we go\n"
        "G1 E-0.8\nG1 E0.8\nM204 P2000\n\nG91\nG1 X1\nG90\nM73 P4 R10\nG4 P10\n"
        "N1 G1 X2*99\n";
  }
  return text;
}

std::uint64_t allocations_in(const std::string& text, const rules::Rules& rules, unsigned threads) {
  TextSource source(text);
  job::ScanOptions options;
  options.threads = threads;
  options.thread_from = 0;
  const std::uint64_t before = news;
  auto job = job::scan(source, rules, options);
  const std::uint64_t after = news;
  if (!job) FAIL(render(job.error()));
  REQUIRE(job->uses.size() == 1);
  return after - before;
}

}  // namespace

TEST_CASE("a scan takes no memory line by line") {
  const rules::Rules rules = test::rules_of(std::string(test::kTwoHeads) + R"(
[[recognise]]
match = '^; == level \d+'
as = "layer"
[[duration]]
match = '^G28'
seconds = 22
)");
  const std::string some = job_of(2'000);
  const std::string many = job_of(20'000);
  for (const unsigned threads : {1U, 2U}) {
    const std::uint64_t first = allocations_in(some, rules, threads);
    const std::uint64_t second = allocations_in(many, rules, threads);
    CAPTURE(threads, first, second);
    CHECK(first > 0);
    // What grows is the index over time, by doubling, and the room of a block.
    CHECK(second < first + 100);
  }
}

}  // namespace forewarm
