#include "rewrite/diff.h"

#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "help/full_sink.h"
#include "rewrite_test_help.h"

using namespace forewarm;
using namespace forewarm::rewrite;

namespace {

class Folder {
 public:
  Folder() {
    std::string pattern = "/tmp/forewarm-diff-test-XXXXXX";
    if (::mkdtemp(pattern.data()) == nullptr) FAIL("no temporary folder");
    path_ = pattern;
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string operator/(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

std::string diff_of(const std::string& a, const std::string& b, const DiffNames& names = {"a", "b"},
                    std::size_t chunk = 1000) {
  TextSource left(a, chunk);
  TextSource right(b, chunk);
  TextSink out;
  auto differ = diff(left, right, names, out);
  if (!differ) FAIL(render(differ.error()));
  CHECK(*differ == (a != b));
  CHECK(out.text().empty() == (a == b));
  return out.text();
}

// What patch(1) makes of `a` and the diff; twice, the second time backwards.
void patches(const Folder& folder, const std::string& a, const std::string& b) {
  const std::string delta = diff_of(a, b);
  if (a == b) return;
  put(folder / "a", a);
  put(folder / "b", b);
  put(folder / "delta", delta);
  const std::string run = "patch --silent --binary --posix ";
  const std::string forward = run + "-o '" + folder / "to" + "' '" + folder / "a" + "' '" +
                              folder / "delta" + "' >'" + folder / "log" + "' 2>&1";
  std::filesystem::remove(folder / "to");
  const int code = std::system(forward.c_str());
  CAPTURE(a.substr(0, 500), b.substr(0, 500), delta.substr(0, 2000), get(folder / "log"));
  REQUIRE(code == 0);
  // patch(1) makes no file at all of an empty result.
  REQUIRE((std::filesystem::exists(folder / "to") ? get(folder / "to") : "") == b);
  const std::string backward = run + "-R -o '" + folder / "from" + "' '" + folder / "b" + "' '" +
                               folder / "delta" + "' >'" + folder / "log" + "' 2>&1";
  std::filesystem::remove(folder / "from");
  REQUIRE(std::system(backward.c_str()) == 0);
  REQUIRE((std::filesystem::exists(folder / "from") ? get(folder / "from") : "") == a);
}

// Lines that a shortest edit script removes and adds.
std::size_t fewest(const std::string& a, const std::string& b) {
  const auto left = lines_of(a);
  const auto right = lines_of(b);
  std::vector<std::vector<std::size_t>> common(left.size() + 1,
                                               std::vector<std::size_t>(right.size() + 1, 0));
  for (std::size_t i = left.size(); i-- > 0;) {
    for (std::size_t j = right.size(); j-- > 0;) {
      const bool same = left[i].text == right[j].text && left[i].ending == right[j].ending;
      common[i][j] = same ? common[i + 1][j + 1] + 1 : std::max(common[i + 1][j], common[i][j + 1]);
    }
  }
  return left.size() + right.size() - 2 * common[0][0];
}

std::size_t edits_in(const std::string& delta) {
  std::size_t count = 0;
  const auto lines = lines_of(delta);
  for (std::size_t i = 2; i < lines.size(); ++i) {
    count += lines[i].text.starts_with('+') || lines[i].text.starts_with('-') ? 1 : 0;
  }
  return count;
}

std::string numbers(int from, int to) {
  std::string out;
  for (int i = from; i <= to; ++i) out += std::to_string(i) + "\n";
  return out;
}

}  // namespace

TEST_CASE("small diffs, as the format has them") {
  struct Case {
    const char* what;
    std::string a, b, delta;
  };
  const std::string none = "\\ No newline at end of file\n";
  for (const Case& c : {
           Case{"same", "1\n2\n", "1\n2\n", ""},
           Case{"both empty", "", "", ""},
           Case{"one line from nothing", "", "1\n", "@@ -0,0 +1 @@\n+1\n"},
           Case{"two lines from nothing", "", "1\n2\n", "@@ -0,0 +1,2 @@\n+1\n+2\n"},
           Case{"one line to nothing", "1\n", "", "@@ -1 +0,0 @@\n-1\n"},
           Case{"one line for another", "1\n", "2\n", "@@ -1 +1 @@\n-1\n+2\n"},
           Case{"a newline more", "1", "1\n", "@@ -1 +1 @@\n-1\n" + none + "+1\n"},
           Case{"a newline less", "1\n", "1", "@@ -1 +1 @@\n-1\n+1\n" + none},
           Case{"neither has one", "1\n2", "3\n2", "@@ -1,2 +1,2 @@\n-1\n+3\n 2\n" + none},
           Case{"nothing to a line without", "", "1", "@@ -0,0 +1 @@\n+1\n" + none},
           Case{"CR LF are part of a line", "1\r\n", "1\n", "@@ -1 +1 @@\n-1\r\n+1\n"},
           Case{"an empty line", "\n", "\n\n", "@@ -1 +1,2 @@\n \n+\n"},
           Case{"context of three", numbers(1, 9), numbers(1, 4) + "x\n" + numbers(5, 9),
                "@@ -2,6 +2,7 @@\n 2\n 3\n 4\n+x\n 5\n 6\n 7\n"},
           Case{"first of many", numbers(1, 9), numbers(2, 9), "@@ -1,4 +1,3 @@\n-1\n 2\n 3\n 4\n"},
           Case{"last of many", numbers(1, 9), numbers(1, 8), "@@ -6,4 +6,3 @@\n 6\n 7\n 8\n-9\n"},
           Case{"six lines apart: one hunk", numbers(1, 8), numbers(2, 7),
                "@@ -1,8 +1,6 @@\n-1\n 2\n 3\n 4\n 5\n 6\n 7\n-8\n"},
           Case{"seven lines apart: two hunks", numbers(1, 9), numbers(2, 8),
                "@@ -1,4 +1,3 @@\n-1\n 2\n 3\n 4\n@@ -6,4 +5,3 @@\n 6\n 7\n 8\n-9\n"},
       }) {
    CAPTURE(c.what);
    CHECK(diff_of(c.a, c.b) == (c.delta.empty() ? "" : "--- a\n+++ b\n" + c.delta));
    Folder folder;
    patches(folder, c.a, c.b);
  }
}

TEST_CASE("a name cannot break its line: it is quoted then") {
  const auto head = [](const std::string& name) {
    const std::string delta = diff_of("1\n", "2\n", {name, "new"});
    return delta.substr(0, delta.find("\n+++ new\n"));
  };
  CHECK(head("a\n+++ b") == "--- \"a\\012+++ b\"\t");
  CHECK(head("tab\there") == "--- \"tab\\011here\"");
  CHECK(head("\x1b[31m\x7f") == "--- \"\\033[31m\\177\"");
  CHECK(head("\xc2\x9b\xc3\x9f") == "--- \"\\302\\233\\303\\237\"");
  CHECK(head("\x9b") == "--- \"\\233\"");
  CHECK(head("\xc3\x9f") == "--- \xc3\x9f");
  CHECK(head("\"a\\") == "--- \"\\\"a\\\\\"");
  CHECK(head("a\\b\"c") == "--- a\\b\"c");  // harmless as it stands
}

TEST_CASE("a name with a space is closed by a tab") {
  const std::string delta = diff_of("1\n", "2\n", {"my job.gcode", "new.gcode"});
  CHECK(delta == "--- my job.gcode\t\n+++ new.gcode\n@@ -1 +1 @@\n-1\n+2\n");
}

TEST_CASE("every fixture and its rewrite, through patch(1)") {
  const std::string name = GENERATE(from_range(kFixtures));
  CAPTURE(name);
  Folder folder;
  const std::string text = fixture(name);
  const std::string once = rewritten(text, demo_rules());
  patches(folder, text, once);
  patches(folder, once, text);
  // Aligned by the marks: nothing but header, insertions and disabled lines is touched.
  std::size_t expected = 0;
  for (const Line& line : lines_of(once)) {
    expected += is_disabled(line.text) ? 2 : is_inserted(line.text) ? 1 : 0;
  }
  CHECK(edits_in(diff_of(text, once)) == expected + 1);
}

TEST_CASE("a last line without an ending, disabled or followed") {
  Folder folder;
  for (const std::string last : {"G1 Y30 E1", "G1 Y30 E1\nM104 T1 S150", "G1 Y30 E1\n\n"}) {
    const std::string text =
        "M83\nM104 T0 S200\nM104 T1 S210\nT0\nG1 X10 Y10 F6000\nG1 X20 E1\nT1\nG1 Y20 E1\nT0\n"
        "M109 T0 S200\n" +
        last;
    const std::string once = rewritten(text, two_heads());
    CAPTURE(once);
    patches(folder, text, once);
  }
}

TEST_CASE("a rewrite that was edited since is still compared") {
  Folder folder;
  const std::string text = fixture("trail_map_absolute.gcode");
  std::string once = rewritten(text, demo_rules());
  once.insert(once.find('\n', once.size() / 2) + 1, "M117 edited by hand\n");
  patches(folder, text, once);
  // The wrong original.
  patches(folder, fixture("trail_map_arcs.gcode").substr(0, 60'000), once.substr(0, 50'000));
}

TEST_CASE("hunks that are left out: the others are a patch of their own") {
  Folder folder;
  const std::string name =
      GENERATE(as<std::string>(), "trail_map_crlf.gcode", "trail_map_arcs.gcode");
  CAPTURE(name);
  const std::string text = fixture(name).substr(0, 60'003);
  const std::string once = rewritten(text, demo_rules());
  const auto some = [&](unsigned every, unsigned which, const std::string& a,
                        const std::string& b) {
    unsigned n = 0;
    TextSource left(a);
    TextSource right(b);
    TextSink out;
    const auto differ = diff(left, right, {"a", "b"}, out,
                             {.wanted = [&](const HunkPlace&) { return n++ % every == which; }});
    REQUIRE(differ);
    CHECK(*differ == !out.text().empty());
    return out.text();
  };
  const auto patched = [&](const std::string& a, const std::string& delta) {
    put(folder / "a", a);
    put(folder / "delta", delta);
    // Without fuzz, and each hunk at the very lines that it names.
    const std::string command = "patch --binary --posix --fuzz=0 -o '" + folder / "to" + "' '" +
                                folder / "a" + "' '" + folder / "delta" + "' >'" + folder / "log" +
                                "' 2>&1";
    REQUIRE(std::system(command.c_str()) == 0);
    CHECK(get(folder / "log").find("offset") == std::string::npos);
    return get(folder / "to");
  };
  for (const unsigned which : {0U, 1U, 2U}) {
    const std::string delta = some(3, which, text, once);
    const std::string part = patched(text, delta);
    CHECK(part != text);
    // Its numbers are those of a diff of what it makes, and the rest makes the whole of that.
    CHECK(diff_of(text, part) == delta);
    CHECK(patched(part, diff_of(part, once)) == once);
  }
}

TEST_CASE("what a hunk says stands behind its second @@, and patch(1) takes it") {
  Folder folder;
  const std::string a = numbers(1, 60);
  const std::string b = "x\n" + numbers(1, 29) + numbers(32, 60);
  TextSource left(a);
  TextSource right(b);
  TextSink out;
  const auto says = [&](const HunkPlace& place) {
    return place.first == 0 ? std::string() : "layer 3, 1:02:03, T1 to T2, change 4 @@ -1 +1 @@";
  };
  REQUIRE(diff(left, right, {"a", "b"}, out, {.says = says}));
  CHECK(out.text().starts_with("--- a\n+++ b\n@@ -1,3 +1,4 @@\n+x\n"));
  CHECK(out.text().find(
            "\n@@ -27,8 +28,6 @@ layer 3, 1:02:03, T1 to T2, change 4 @@ -1 +1 @@\n 27\n") !=
        std::string::npos);
  put(folder / "a", a);
  put(folder / "delta", out.text());
  REQUIRE(std::system(("cd '" + folder / "." + "' && patch --silent a delta").c_str()) == 0);
  CHECK(get(folder / "a") == b);
}

TEST_CASE("random pairs, through patch(1), with fewest edits") {
  Folder folder;
  for (unsigned seed = 1; seed <= 150; ++seed) {
    CAPTURE(seed);
    std::mt19937 random(seed);
    const auto pick = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
    const int letters = 1 + pick(8);
    const auto text = [&] {
      std::string out;
      for (int i = pick(30); i > 0; --i) {
        out += std::string(std::size_t(pick(1)), char('a' + pick(letters)));
        if (pick(9) == 0) out += "\r";
        out += "\n";
      }
      if (pick(2) == 0) out += char('a' + pick(letters));
      return out;
    };
    const std::string a = text();
    const std::string b = text();
    patches(folder, a, b);
    if (a != b) REQUIRE(edits_in(diff_of(a, b, {"a", "b"}, 1)) == fewest(a, b));
  }
}

TEST_CASE("long texts that have nothing in common are replaced whole") {
  Folder folder;
  const std::string a = numbers(1, 4000);
  const std::string b = numbers(10'001, 13'000);
  patches(folder, a, b);
  CHECK(diff_of(a, b).starts_with("--- a\n+++ b\n@@ -1,4000 +1,3000 @@\n-1\n"));
}

TEST_CASE("a sink that fails is an error") {
  const std::string a = numbers(1, 20);
  const std::string b = numbers(2, 19);
  const std::size_t size = diff_of(a, b).size();
  for (std::size_t n = 0; n <= size; ++n) {
    TextSource left(a);
    TextSource right(b);
    test::FullSink sink(n);
    REQUIRE(diff(left, right, {"a", "b"}, sink).ok() == (n == size));
  }
}
