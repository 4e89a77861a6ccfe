// Edits given by hand, where no plan would put them: endings, numbers, dialect, failing sources.
#include <xxhash.h>

#include "gcode/words.h"
#include "help/text.h"
#include "rewrite/rewrite.h"
#include "rewrite_test_help.h"

using namespace forewarm;
using forewarm::test::summed;
using namespace forewarm::rewrite;

namespace {

// Two toolheads: one gap of 15 s, one of 829 s, a stale target in between, the end left hot.
const std::vector<std::string> kTiny = {
    "G21",
    "G90",
    "M83",
    "M104 T0 S200",
    "M104 T1 S210",
    "T0",
    "M109 T0 S200",
    "G1 X10 Y10 F6000",
    "G1 X20 Y10 E1 F1200",
    "M104 T0 S150",
    "T1",
    "M109 T1 S210",
    "G1 X10 Y20 E1",
    "G4 S400",
    "G4 S400",
    "G1 X10 Y30 E1",
    "T0",
    "M109 T0 S200",
    "G1 X10 Y30 E1",
};

std::string tiny(const std::string& ending, bool last_ending = true) {
  std::string out;
  for (const std::string& line : kTiny) out += line + ending;
  if (!last_ending) out.resize(out.size() - ending.size());
  return out;
}

// The rewrite as one would do it by hand: lines in a list, one after the other.
std::string by_hand(const std::string& text, const Edits& edits, const std::string& header,
                    bool numbered) {
  const std::vector<Line> lines = lines_of(text);
  const std::string usual = lines.front().ending.empty() ? "\n" : lines.front().ending;
  std::vector<Line> out = {{header, usual}};
  std::optional<std::int64_t> count;
  const auto number = [](const std::string& command, std::int64_t n) {
    return summed("N" + std::to_string(n) + " " + command);
  };
  const auto set_back = [&] {
    return number("M110 N" + std::to_string(*count), *count) + " ;fw+ line count set back";
  };
  const auto insert = [&](const std::string& added, std::string ending) {
    if (out.back().ending.empty()) {
      out.back().ending = usual;
      ending = "";
    }
    out.push_back({added, ending});
  };
  std::size_t offset = 0;
  for (std::size_t i = 0; i <= lines.size(); ++i) {
    const std::string ending = i == 0 || lines[i - 1].ending.empty() ? usual : lines[i - 1].ending;
    std::int64_t ahead = 0;
    bool disable = false;
    for (const Edit& e : edits) {
      if (e.offset != offset) continue;
      if (e.kind == Edit::Kind::disable) {
        disable = true;
        continue;
      }
      const std::string command =
          numbered && count ? number(e.command, *count + ++ahead) : e.command;
      insert(command + " ;fw+ " + e.reason, ending);
    }
    if (ahead > 0) insert(set_back(), ending);
    if (i == lines.size()) break;
    out.push_back(lines[i]);
    if (disable) out.back().text = ";fw- " + lines[i].text;
    offset += lines[i].text.size() + lines[i].ending.size();
    if (!numbered || lines[i].text.empty() || lines[i].text[0] != 'N') continue;
    const std::size_t set = lines[i].text.find("M110 N");
    count = std::stoll(set == std::string::npos ? lines[i].text.substr(1)
                                                : lines[i].text.substr(set + 6));
    if (disable) insert(set_back(), lines[i].ending.empty() ? usual : lines[i].ending);
  }
  return joined(out);
}

std::string random_text(std::mt19937& random, bool numbered) {
  const auto pick = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  const std::vector<std::string> bodies = {
      "",
      "   ",
      "; caf\xc3\xa9 \xe2\x84\x83",  // UTF-8
      "; caf\xe9 \xb0",              // Latin-1
      "; lone\rreturn",
      "; " + std::string(7000, 'x'),
      "G1 X10 Y10",
      "M104 T0 S200",
      "T1",
      ";fw",
      ";forewarm",
  };
  std::string text;
  std::int64_t n = pick(50);
  const int endings = pick(2);  // LF, CR LF or mixed
  const int lines = 1 + pick(25);
  for (int i = 0; i < lines; ++i) {
    std::string body = bodies[std::size_t(pick(int(bodies.size()) - 1))];
    if (numbered && !body.empty() && (body[0] == 'G' || body[0] == 'M' || body[0] == 'T')) {
      if (pick(9) == 0) {
        const std::int64_t to = pick(300);
        body = "N" + std::to_string(n) + " M110 N" + std::to_string(to);
        n = to + 1;
      } else {
        body = "N" + std::to_string(n++) + " " + body;
      }
      body = summed(body);
    }
    text += body;
    if (i + 1 == lines && pick(2) == 0 && !text.empty()) break;
    text += endings == 0 || (endings == 2 && pick(1) == 0) ? "\n" : "\r\n";
  }
  return text;
}

// Up to three insertions before, and perhaps a disabling of, any line; and insertions at the end.
Edits random_edits(std::mt19937& random, const std::string& text) {
  const auto pick = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  Edits edits;
  std::uint64_t offset = 0;
  const auto insert = [&] {
    for (int k = std::max(0, pick(5) - 2); k > 0; --k) {
      edits.push_back(
          {offset, Edit::Kind::insert, "M104 T1 S" + std::to_string(pick(250)), "reason"});
    }
  };
  for (const Line& line : lines_of(text)) {
    insert();
    if (pick(4) == 0) edits.push_back({offset, Edit::Kind::disable, "", ""});
    offset += line.text.size() + line.ending.size();
  }
  insert();
  return edits;
}

// Fails at the n-th read.
class BadAt final : public ByteSource {
 public:
  BadAt(std::string_view text, int reads) : text_(text, 64), reads_(reads) {}
  [[nodiscard]] std::uint64_t size() const override { return text_.size(); }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override {
    if (reads_-- == 0) return Error{Error::Kind::io, "bad sector"};
    return text_.read_at(offset, into);
  }
  [[nodiscard]] bool failed() const { return reads_ < 0; }

 private:
  TextSource text_;
  int reads_;
};

}  // namespace

TEST_CASE("the header says what the job was made of") {
  const std::string text = tiny("\n");
  const auto header = read_header(first_line(rewritten(text, two_heads())));
  REQUIRE(header);
  CHECK(header->bytes == text.size());
  CHECK(header->original == XXH3_64bits(text.data(), text.size()));
  CHECK(header->rules == two_heads().hash);
}

TEST_CASE("line endings follow the neighbours") {
  const auto texts_of = [](const std::string& text) {
    std::vector<std::string> out;
    for (const Line& line : lines_of(rewritten(text, two_heads()))) out.push_back(line.text);
    out.erase(out.begin());  // the hash differs
    return out;
  };
  const auto lf = texts_of(tiny("\n"));
  CHECK(std::count_if(lf.begin(), lf.end(), [](auto& l) { return is_inserted(l); }) == 6);

  SECTION("CR LF all through") {
    CHECK(texts_of(tiny("\r\n")) == lf);
    for (const Line& line : lines_of(rewritten(tiny("\r\n"), two_heads()))) {
      CHECK(line.ending == "\r\n");
    }
  }
  SECTION("no final newline, and an insertion after the last line") {
    CHECK(texts_of(tiny("\n", false)) == lf);
    CHECK(rewritten(tiny("\n", false), two_heads())
              .ends_with("\nG1 X10 Y30 E1\nM104 T0 S0 ;fw+ off: no further use"));
    CHECK(rewritten(tiny("\r\n", false), two_heads())
              .ends_with("\r\nG1 X10 Y30 E1\r\nM104 T0 S0 ;fw+ off: no further use"));
  }
  SECTION("a lone CR at the end, which a plain LF would make one ending of") {
    const std::string text = tiny("\n", false) + "\r";
    CHECK(rewritten(text, two_heads())
              .ends_with("\nG1 X10 Y30 E1\r\r\nM104 T0 S0 ;fw+ off: no further use"));
    CHECK(restored(rewritten(text, two_heads())) == text);
  }
  SECTION("empty last lines") {
    CHECK(rewritten(tiny("\n") + "\n\r\n\n", two_heads())
              .ends_with("\nM104 T0 S0 ;fw+ off: no further use\n\n\r\n\n"));
  }
  SECTION("mixed") {
    std::string text;
    for (std::size_t i = 0; i < kTiny.size(); ++i) text += kTiny[i] + (i % 2 == 0 ? "\r\n" : "\n");
    const auto out = lines_of(rewritten(text, two_heads()));
    CHECK(texts_of(text) == lf);
    CHECK(out[0].ending == "\r\n");
    for (std::size_t i = 1; i < out.size(); ++i) {
      CAPTURE(out[i].text);
      if (is_inserted(out[i].text)) CHECK(out[i].ending == out[i - 1].ending);
    }
  }
}

TEST_CASE("the dialect decides how commands are written") {
  rules::Rules rules = two_heads();
  rules.toolheads[1].heater_index = 7;
  rules.dialect.set = "HEAT H{heater} T{tool} {temp}{x}";
  rules.dialect.wait = "AWAIT {temp}";
  job::Job job;
  job.heads = rules.toolheads;
  plan::Plan plan;
  using Kind = plan::Command::Kind;
  const auto add = [&plan](std::uint64_t offset, Kind kind, std::uint32_t head, int tool,
                           double temp_c, const std::string& raw, const std::string& reason) {
    plan::Command& c = plan.commands.emplace_back();
    c.at.offset = offset;
    c.kind = kind;
    c.head = head;
    c.tool = tool;
    c.temp_c = temp_c;
    c.raw = raw;
    c.reason = reason;
  };
  add(5, Kind::set, 1, 3, 172.5, "", "a");
  add(5, Kind::wait, 1, 3, 210, "", "b");
  add(5, Kind::raw, 0, 0, 0, "TIMERS OFF", "c");
  add(9, Kind::set, 0, 1, 199.999, "", "d");
  add(9, Kind::set, 0, 1, 0, "", "e");
  add(9, Kind::wait, 0, 1, 200.126, "", "f");
  job.targets.resize(2);
  job.targets[1].at.offset = 5;
  plan.disabled = {1};
  std::string out;
  for (const Edit& e : edits_of(job, plan, rules)) {
    out += std::to_string(e.offset) + " " +
           (e.kind == Edit::Kind::disable ? "disable" : e.command + " | " + e.reason) + "\n";
  }
  CHECK(out == R"(5 HEAT H7 T3 172.5{x} | a
5 AWAIT 210 | b
5 TIMERS OFF | c
5 disable
9 HEAT H0 T1 200{x} | d
9 HEAT H0 T1 0{x} | e
9 AWAIT 200.13 | f
)");
}

TEST_CASE("a count that M110 sets is followed") {
  struct Case {
    std::string set;
    int then;
  };
  for (const Case& c :
       {Case{summed("N7 M110 N7"), 8}, Case{summed("N0 M110 N41"), 42},
        Case{summed("M110 N41"), 42}, Case{summed("N41 M110"), 42}, Case{"M110 N41", 42},
        Case{"M110 N9" + std::string(20, '0'), 8}, Case{"M110 N-9" + std::string(300, '0'), 8},
        Case{"; M110 N41", 8}, Case{"M111 N41", 8}}) {
    CAPTURE(c.set);
    const std::string before = summed("N7 G21") + "\n" + c.set + "\n";
    const std::string n = std::to_string(c.then);
    const std::string set = std::to_string(c.then - 1);
    const std::string after = summed("N" + n + " G90") + "\n";
    job::Job job;
    job.bytes = before.size() + after.size();
    job.numbered = true;
    const Edits edits = {{before.size(), Edit::Kind::insert, "M104 T0 S0", "why"}};
    CHECK(written(before + after, {job, edits}, two_heads()) ==
          header_line({two_heads().hash, job.bytes, 0}) + "\n" + before +
              summed("N" + n + " M104 T0 S0") + " ;fw+ why\n" +
              summed("N" + set + " M110 N" + set) + " ;fw+ line count set back\n" + after);
  }
}

TEST_CASE("a disabled last line without an ending, and insertions after it") {
  const std::string last = summed("N5 M104 T0 S200");
  const std::string first = summed("N4 G90") + "\n";
  const std::string text = first + last;
  job::Job job;
  job.bytes = text.size();
  job.hash = XXH3_64bits(text.data(), text.size());
  job.numbered = GENERATE(true, false);
  const Edits edits = {{first.size(), Edit::Kind::disable, "", ""},
                       {text.size(), Edit::Kind::insert, "M104 T0 S0", "a"},
                       {text.size(), Edit::Kind::insert, "M104 T1 S0", "b"}};
  const std::string header = header_line({two_heads().hash, text.size(), job.hash});
  const std::string set_back = summed("N5 M110 N5") + " ;fw+ line count set back";
  CHECK(written(text, {job, edits}, two_heads()) ==
        header + "\n" + first + ";fw- " + last +
            (job.numbered ? "\n" + set_back + "\n" + summed("N6 M104 T0 S0") + " ;fw+ a\n" +
                                summed("N7 M104 T1 S0") + " ;fw+ b\n" + set_back
                          : "\nM104 T0 S0 ;fw+ a\nM104 T1 S0 ;fw+ b"));
  CHECK(restored(written(text, {job, edits}, two_heads())) == text);
}

TEST_CASE("random edits of random texts are what one would do by hand") {
  for (unsigned seed = 1; seed <= 1500; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    const bool numbered = seed % 2 == 0;
    const std::string text = random_text(random, numbered);
    const Edits edits = random_edits(random, text);
    job::Job job;
    job.bytes = text.size();
    job.hash = XXH3_64bits(text.data(), text.size());
    job.numbered = numbered;
    const std::string out = written(text, {job, edits}, two_heads());
    REQUIRE(out == by_hand(text, edits, first_line(out), numbered));
    REQUIRE(restored(out) == text);
  }
}

TEST_CASE("the numbered fixture is edited as one would do it by hand") {
  const std::string text = fixture("trail_map_numbered.gcode");
  const Planned p = planned(text, demo_rules());
  REQUIRE(p.job.numbered);
  const std::string out = written(text, p, demo_rules());
  CHECK(out == by_hand(text, p.edits, first_line(out), true));
}

TEST_CASE("a source that fails anywhere is an error") {
  const std::string text = tiny("\n", false);
  Planned p = planned(text, two_heads());
  p.job.numbered = GENERATE(false, true);
  int reads = 0;
  for (bool failed = true; failed; ++reads) {
    BadAt source(text, reads);
    TextSink sink;
    ToSink pieces(source, sink);
    const Status status = rewrite::rewrite(source, p.job, p.edits, 1, pieces);
    failed = source.failed();
    REQUIRE(status.ok() == !failed);
    if (!status) REQUIRE(status.error().message == "bad sector");
  }
  CHECK(reads > 10);
}
