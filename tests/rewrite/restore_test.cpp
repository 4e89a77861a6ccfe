#include "rewrite/restore.h"

#include "help/full_sink.h"
#include "rewrite_test_help.h"

using namespace forewarm;
using namespace forewarm::rewrite;

namespace {

// A job of the fixtures' kind, small, with everything about its text that may be odd.
std::string mangled(const std::vector<Line>& lines, std::mt19937& random) {
  const auto one_in = [&](int n) { return std::uniform_int_distribution<int>(1, n)(random) == 1; };
  const std::vector<std::string> extra = {
      "",
      "",
      "  \t",
      "; gr\xc3\xbc\xc3\x9f\x65 \xe2\x84\x83",
      "; gr\xfc\xdf\x65 \xb0",
      "; " + std::string(20'000, '-'),
      ";fw",
      "; fw+ fw-",
      "; a lone \r return",
  };
  const int style = std::uniform_int_distribution<int>(0, 2)(random);
  const auto ending = [&] { return style == 0 || (style == 2 && one_in(2)) ? "\n" : "\r\n"; };
  std::string out;
  for (const Line& line : lines) {
    if (one_in(40)) {
      out += extra[std::uniform_int_distribution<std::size_t>(0, extra.size() - 1)(random)];
      out += ending();
    }
    out += line.text;
    if (!line.text.empty() && one_in(60)) out += " ; \xc2\xb5 \xb5";
    out += ending();
  }
  for (int i = std::uniform_int_distribution<int>(0, 2)(random); i > 0; --i) out += ending();
  if (one_in(2)) {
    while (!out.empty() && (out.back() == '\n' || out.back() == '\r')) out.pop_back();
  }
  return out;
}

// The job cut where nothing prints any more is still a job.
std::vector<Line> random_part(const std::vector<Line>& lines, std::mt19937& random) {
  const std::size_t keep =
      std::uniform_int_distribution<std::size_t>(lines.size() / 8, lines.size() / 3)(random);
  return {lines.begin(), lines.begin() + std::ptrdiff_t(keep)};
}

Error refused(const std::string& text) {
  TextSource source(text);
  TextSink sink;
  auto s = restore(source, "rewritten.gcode", sink);
  if (s) FAIL("accepted:\n" << text);
  CHECK(s.error().kind == Error::Kind::refused);
  return s.error();
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

const std::string kJob =
    "M83\nM104 T0 S200\nM104 T1 S210\nT0\nG1 X10 Y10 F6000\nG1 X20 E1\nM104 T0 S150\nT1\n"
    "G4 S900\nG1 Y20 E1\nT0\nM109 T0 S200\nG1 Y30 E1\n";

}  // namespace

TEST_CASE("every fixture is restored byte for byte, and rewritten again is the same") {
  const std::string name = GENERATE(from_range(kFixtures));
  CAPTURE(name);
  const std::string text = fixture(name);
  const std::string once = rewritten(text, demo_rules());
  CHECK(once != text);
  const std::string back = restored(once);
  CHECK(back == text);
  CHECK(rewritten(back, demo_rules()) == once);
}

TEST_CASE("mangled jobs are restored byte for byte, and rewritten again are the same") {
  std::vector<std::vector<Line>> jobs;
  for (const std::string& name : kFixtures) {
    if (name != "trail_map.gcode") jobs.push_back(lines_of(fixture(name)));
  }
  for (unsigned seed = 1; seed <= 300; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    const std::string text = mangled(random_part(jobs[seed % jobs.size()], random), random);
    // A comment added behind a checksum stays outside it, so these remain jobs.
    const std::string once = rewritten(text, demo_rules());
    const std::string back = restored(once);
    REQUIRE(back == text);
    REQUIRE(rewritten(back, demo_rules()) == once);
  }
}

TEST_CASE("the header of a text, if it has one") {
  const std::string header = header_line({1, 2, 3});
  const auto of = [](const std::string& text) {
    TextSource source(text, 5);
    auto found = header_of(source);
    REQUIRE(found);
    return found->has_value();
  };
  for (const std::string ending : {"", "\n", "\r\n", "\nG21\n", "\r\nG21"}) {
    CHECK(of(header + ending));
  }
  for (const std::string& text :
       {std::string(), std::string("\n"), "\n" + header, " " + header + "\n", header + " \n",
        header + "\r\r\n", "\xef\xbb\xbf" + header + "\n", std::string(5000, ';')}) {
    CAPTURE(text.substr(0, 100));
    CHECK_FALSE(of(text));
  }
}

TEST_CASE("texts that are no rewritten jobs are refused") {
  for (const std::string& text : {std::string(), std::string("\n"), std::string("G21\nG90\n"), kJob,
                                  "\n" + rewritten(kJob, two_heads())}) {
    CHECK(refused(text).message == "not a job that forewarm rewrote: its first line is no header");
  }
  const Error e = refused("G21\nG90\n");
  CHECK(render(e) ==
        "rewritten.gcode:1: not a job that forewarm rewrote: its first line is no header\n  G21");
}

TEST_CASE("damaged rewritten jobs are refused") {
  const std::string good = rewritten(kJob, two_heads());
  REQUIRE(restored(good) == kJob);
  for (const auto& [from, to] : std::vector<std::pair<std::string, std::string>>{
           {"\nG1 X20 E1\n", "\n"},               // a line of the job gone
           {"\nG1 X20 E1\n", "\nG1 X20 E2\n"},    // changed
           {"\nG1 X20 E1\n", "\nG1 X20 E1\n\n"},  // added
           {"\nG1 X20 E1\n", "\nG1 X20 E1\r\n"},  // its ending
           {";fw- M104 T0 S150", "M104 T0 S15"},  // a mark gone
           {";fw- M104 T0 S150", ";fw-M104 T0 S150"},
           {" ;fw+ ", " ; fw+ "},
           {" ;fw+ ", " "},
           {"original=", "original=1"},  // the size in the header
       }) {
    CAPTURE(from, to);
    CHECK(refused(replaced(good, from, to)).message ==
          "the restored job is not the original: the file was changed since");
  }
  // The hash in the header; the size is right.
  std::string other = good;
  char& digit = other[other.find('\n') - 1];
  digit = digit == '0' ? '1' : '0';
  CHECK(refused(other).hint == "its first line says " + std::to_string(kJob.size()) +
                                   " bytes; restoring gives " + std::to_string(kJob.size()) +
                                   ", with another hash");
  // Any end cut off that held something of the job.
  for (std::size_t n = 0; n < good.rfind("\nG1 Y30 E1\n") + 11; ++n) refused(good.substr(0, n));
}

TEST_CASE("what was put in may be edited or lost: the original does not depend on it") {
  const std::string good = rewritten(kJob, two_heads());
  std::string without;
  for (const Line& line : lines_of(good)) {
    if (!is_inserted(line.text)) without += line.text + line.ending;
  }
  CHECK(without != good);
  CHECK(restored(without) == kJob);
  CHECK(restored(replaced(good, ";fw+ off", ";fw+ kept on")) == kJob);
}

TEST_CASE("a sink that fails while restoring is an error") {
  const std::string good = rewritten(kJob, two_heads());
  for (std::size_t n = 0; n <= kJob.size(); ++n) {
    TextSource source(good);
    test::FullSink sink(n);
    REQUIRE(restore(source, "x", sink).ok() == (n == kJob.size()));
  }
}
