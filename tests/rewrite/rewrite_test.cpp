#include "rewrite/rewrite.h"

#include <fmt/format.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <sstream>
#include <vector>

#include "gcode/words.h"
#include "help/files.h"
#include "help/full_sink.h"
#include "help/jobs.h"
#include "help/rewritten.h"
#include "rewrite/diff.h"
#include "rewrite/marks.h"
#include "rewrite/restore.h"

using namespace forewarm;
using namespace forewarm::test;

namespace {

std::vector<rewrite::Edit> edits_for(const std::string& text, const rules::Rules& rules,
                                     job::Job& job) {
  job = scan_of(text, rules);
  auto plan = plan::make(job, rules, rules::Policy::lookahead);
  if (!plan) FAIL(render(plan.error()));
  CHECK(plan::broken_invariant(job, *plan) == "");
  return rewrite::edits_of(job, *plan, rules);
}

std::string rewritten(const std::string& text, const rules::Rules& rules) {
  job::Job job;
  const auto edits = edits_for(text, rules, job);
  TextSource source(text);
  TextSink sink;
  rewrite::ToSink pieces(source, sink);
  REQUIRE(rewrite::rewrite(source, job, edits, 0x1234, pieces));
  return sink.text();
}

std::string diffed(const std::string& a, const std::string& b) {
  TextSource left(a);
  TextSource right(b);
  TextSink sink;
  auto differ = rewrite::diff(left, right, {"a", "b"}, sink);
  REQUIRE(differ);
  CHECK(*differ == (a != b));
  return sink.text();
}

// The oracle: line by line, everything in vectors.
std::string naive(const std::string& text, const job::Job& job,
                  const std::vector<rewrite::Edit>& edits) {
  std::multimap<std::uint64_t, std::string> before;
  std::map<std::uint64_t, bool> off;
  for (const auto& e : edits) {
    if (e.kind == rewrite::Edit::Kind::disable) {
      off[e.offset] = true;
    } else {
      before.emplace(e.offset, e.command + " ;fw+ " + e.reason);
    }
  }
  std::string eol = "\n";
  if (const auto lf = text.find('\n'); lf != std::string::npos && lf > 0 && text[lf - 1] == '\r') {
    eol = "\r\n";
  }
  std::string out = rewrite::header_line({0x1234, job.bytes, job.hash}) + eol;
  std::size_t at = 0;
  while (at < text.size()) {
    const auto lf = text.find('\n', at);
    const std::size_t end = lf == std::string::npos ? text.size() : lf + 1;
    for (auto [i, last] = before.equal_range(at); i != last; ++i) out += i->second + eol;
    if (off.count(at) != 0) out += ";fw- ";
    out += text.substr(at, end - at);
    if (end - at >= 1 && text[end - 1] == '\n')
      eol = end - at >= 2 && text[end - 2] == '\r' ? "\r\n" : "\n";
    at = end;
  }
  if (before.count(at) != 0) {
    const bool open = !text.empty() && text.back() != '\n';
    // After an unfinished last line the first line's ending is used.
    const auto lf = text.find('\n');
    if (open) eol = lf > 0 && text[lf - 1] == '\r' ? "\r\n" : "\n";
    if (open) out += eol;
    std::string tail;
    for (auto [i, last] = before.equal_range(at); i != last; ++i) tail += i->second + eol;
    if (open) tail.resize(tail.size() - eol.size());
    out += tail;
  }
  return out;
}

std::string small_job(std::mt19937& random, bool crlf) {
  std::uniform_real_distribution<double> unit(0, 1);
  const auto ending = [&] {
    if (unit(random) < 0.1) return std::string(crlf ? "\n" : "\r\n");
    return std::string(crlf ? "\r\n" : "\n");
  };
  const std::vector<std::string> noise{"",
                                       "; caf\xc3\xa9 \xe9 latin",
                                       "   ",
                                       "M107",
                                       "M117 T9 next",
                                       "(x)",
                                       "UNKNOWN_THING A=1",
                                       "%%",
                                       std::string(300, 'z') + " ;" + std::string(5000, 'y')};
  std::string text;
  const auto line = [&](const std::string& s) {
    while (unit(random) < 0.15)
      text += noise[std::size_t(unit(random) * double(noise.size()))] + ending();
    text += s + ending();
  };
  line("M83");
  line("M109 T0 S210");
  line("M104 T1 S215");
  line("T0");
  int tool = 0;
  for (int n = 0; n < 8; ++n) {
    for (int k = 0; k < 3; ++k) {
      line(fmt::format("G1 X{} E1 F{}", k % 2 == 0 ? 200 : 10, 60 + int(2000 * unit(random))));
    }
    const int next = int(unit(random) * 3);
    if (unit(random) < 0.7) line(fmt::format("M104 T{} S{}", tool, 100 + int(80 * unit(random))));
    line(fmt::format("T{}", next));
    line(fmt::format("{} T{} S{}", unit(random) < 0.6 ? "M109" : "M104", next, 205 + 5 * next));
    tool = next;
  }
  text += "G1 X1 E1";
  if (unit(random) < 0.5) text += ending();
  return text;
}

}  // namespace

TEST_CASE("a small job, whole") {
  const auto rules = rules_of(kTwoHeads);
  const std::string text =
      "M83\r\nM109 T0 S210\r\nM109 T1 S215\r\nT0\r\nG1 X100 E1 F6000\r\nM104 T0 S150\r\nT1\r\n"
      "G1 X0 E1 F6000\r\nG1 X1000 E9 F600\r\nG1 X0 E9 F600";
  CHECK(rewritten(text, rules) ==
        ";forewarm 1 rules=0000000000001234 original=120:" +
            rewrite::header_line({0, 0, scan_of(text, rules).hash}).substr(46) + "\r\n" +
            "M83\r\nM109 T0 S210\r\nM109 T1 S215\r\nT0\r\n"
            "M104 T1 S215 ;fw+ hold: parked 1 s, would dip only 5.5 C\r\n"
            "G1 X100 E1 F6000\r\n"
            ";fw- M104 T0 S150\r\n"
            "M104 T0 S0 ;fw+ off: no further use\r\n"
            "T1\r\n"
            "M109 T1 S215 ;fw+ wait: T1 prints at 215 C\r\n"
            "G1 X0 E1 F6000\r\nG1 X1000 E9 F600\r\nG1 X0 E9 F600\r\n"
            "M104 T1 S0 ;fw+ off: no further use");
}

TEST_CASE("headers: one spelling only") {
  const std::string good = rewrite::header_line({1, 22, 333});
  CHECK(good == ";forewarm 1 rules=0000000000000001 original=22:000000000000014d");
  CHECK(rewrite::read_header(good)->bytes == 22);
  for (const std::string bad :
       {"", ";forewarm", ";forewarm 2 rules=0000000000000001 original=22:000000000000014d",
        ";forewarm 1 rules=1 original=22:14d", ";forewarm 1 rules=0000000000000001 original=22",
        ";forewarm 1 rules=0000000000000001 original=022:000000000000014d",
        ";forewarm 1 rules=0000000000000001 original=22:000000000000014D",
        ";forewarm 1 rules=0000000000000001 original=22:000000000000014d ",
        "; forewarm 1 rules=0000000000000001 original=22:000000000000014d",
        ";forewarm 1 rules=0000000000000001 original=99999999999999999999:000000000000014d"}) {
    INFO(bad);
    CHECK_FALSE(rewrite::read_header(bad));
  }
}

TEST_CASE("random jobs: restore undoes it, twice is once, the naive rewriter agrees") {
  const auto rules = rules_of(kTwoHeads);
  std::mt19937 random(11);
  for (int i = 0; i < 300; ++i) {
    const std::string text = small_job(random, i % 2 == 1);
    INFO("job " << i << "\n" << text);
    job::Job job;
    const auto edits = edits_for(text, rules, job);
    const std::string once = rewritten(text, rules);
    CHECK(once == naive(text, job, edits));
    CHECK(restored(once) == text);
    CHECK(rewritten(restored(once), rules) == once);
  }
}

TEST_CASE("the fixtures: restore undoes it") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  for (const auto& entry : std::filesystem::directory_iterator(FOREWARM_FIXTURES)) {
    if (entry.path().extension() != ".gcode" || entry.path().stem() == "single_tool") continue;
    INFO(entry.path());
    const std::string text = test::get(entry.path());
    const std::string once = rewritten(text, rules);
    CHECK(once.size() > text.size());
    CHECK(restored(once) == text);
  }
}

TEST_CASE("a numbered job counts on, as a machine counts") {
  const auto rules = rules_of(test::source_file("config/demo.toml"));
  std::istringstream lines(rewritten(test::fixture("trail_map_numbered.gcode"), rules));
  std::int64_t count = -1;
  int inserted = 0;
  int set_back = 0;
  gcode::Words w;
  for (std::string line; std::getline(lines, line);) {
    gcode::parse(line, w);
    if (w.kind == gcode::LineKind::blank) continue;
    INFO(line);
    REQUIRE(w.numbered);
    REQUIRE(w.has_checksum);
    REQUIRE(w.checksum_ok);
    if (w.is('M', 110)) {
      count = std::int64_t(w.value('N'));
      CHECK(count == w.number);
      ++set_back;
    } else {
      REQUIRE(w.number == count + 1);
      count = w.number;
    }
    if (rewrite::is_inserted(line)) ++inserted;
  }
  CHECK(inserted > 60);
  CHECK(set_back > 30);
}

TEST_CASE("damage is found by restore") {
  const auto rules = rules_of(kTwoHeads);
  std::mt19937 random(1);
  const std::string good = rewritten(small_job(random, false), rules);
  const auto refusal = [](const std::string& text) {
    TextSource source(text);
    rewrite::NullSink sink;
    auto status = rewrite::restore(source, "r.gcode", sink);
    REQUIRE_FALSE(status);
    CHECK(status.error().kind == Error::Kind::refused);
    return status.error().message;
  };
  const std::string changed = "the restored job is not the original: the file was changed since";
  std::string bad = good;
  bad.replace(bad.find("T0 S210"), 7, "T0 S211");
  CHECK(refusal(bad) == changed);
  bad = good;
  bad.insert(bad.find("M109"), "M107\n");
  CHECK(refusal(bad) == changed);
  CHECK(refusal(good.substr(0, good.size() / 2)) == changed);
  CHECK(refusal(good.substr(1)) == "not a job that forewarm rewrote: its first line is no header");
  CHECK(refusal("") == "not a job that forewarm rewrote: its first line is no header");
}

TEST_CASE("a sink that fails at any byte fails the rewrite and the restore") {
  const auto rules = rules_of(kTwoHeads);
  std::mt19937 random(2);
  const std::string text = small_job(random, false);
  job::Job job;
  const auto edits = edits_for(text, rules, job);
  const std::string once = rewritten(text, rules);
  for (std::size_t n = 0; n <= once.size(); n += n < 3000 ? 1 : 97) {
    TextSource source(text);
    test::FullSink sink(n);
    rewrite::ToSink pieces(source, sink);
    CHECK(rewrite::rewrite(source, job, edits, 0x1234, pieces).ok() == (n == once.size()));
  }
  for (std::size_t n = 0; n < text.size(); n += n < 3000 ? 1 : 97) {
    TextSource source(once);
    test::FullSink sink(n);
    CHECK_FALSE(rewrite::restore(source, "r", sink).ok());
  }
}

// GNU diffutils manual, unified format (seen; run).
TEST_CASE("unified diffs, whole") {
  CHECK(diffed("", "") == "");
  CHECK(diffed("a\n", "a\n") == "");
  CHECK(diffed("", "a\n") == "--- a\n+++ b\n@@ -0,0 +1 @@\n+a\n");
  CHECK(diffed("a\n", "") == "--- a\n+++ b\n@@ -1 +0,0 @@\n-a\n");
  CHECK(diffed("a", "a\n") == "--- a\n+++ b\n@@ -1 +1 @@\n-a\n\\ No newline at end of file\n+a\n");
  CHECK(diffed("1\n2\n3\n4\n5\n6\n7\n8\n", "1\n2\n3\n4\nx\n5\n6\n7\n8\n") ==
        "--- a\n+++ b\n@@ -2,6 +2,7 @@\n 2\n 3\n 4\n+x\n 5\n 6\n 7\n");
}

TEST_CASE("patch(1) makes one from the other") {
  const auto folder = std::filesystem::temp_directory_path() /
                      ("forewarm-diff-" + std::to_string(std::random_device{}()));
  std::filesystem::create_directory(folder);
  const auto put = [&](const char* name, const std::string& text) {
    std::ofstream(folder / name, std::ios::binary) << text;
  };
  const auto patched = [&](const std::string& a, const std::string& b) {
    put("a", a);
    put("d", diffed(a, b));
    const std::string command =
        "cd '" + folder.string() + "' && patch --binary -s -o out a d >log 2>&1";
    CHECK(std::system(command.c_str()) == 0);
    return test::get(folder / "out");
  };
  const auto rules = rules_of(kTwoHeads);
  std::mt19937 random(4);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int i = 0; i < 25; ++i) {
    const std::string text = small_job(random, i % 2 == 1);
    const std::string once = rewritten(text, rules);
    CHECK(patched(text, once) == once);
    CHECK(patched(once, text) == text);
    // And texts that no marks explain.
    std::string other;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
      if (unit(random) < 0.1) continue;
      if (unit(random) < 0.1) other += "G4 P1\n";
      other += line + "\n";
    }
    if (!other.empty() && text != other) CHECK(patched(text, other) == other);
  }
  std::filesystem::remove_all(folder);
}
