#include <atomic>
#include <catch2/catch.hpp>
#include <random>
#include <thread>

#include "cli/batch_list.h"
#include "cli/batch_manifest.h"
#include "cli/batch_pool.h"

using namespace forewarm;
using namespace forewarm::cli;
using namespace std::string_literals;

namespace {

std::string said(const Status& status) { return status ? "good" : render(status.error()); }

Entry good(const std::string& path) {
  Entry e;
  e.path = path;
  e.bytes = 81;
  e.input = 0x1;
  e.rules = 0xfedcba9876543210U;
  e.program = "0.1.0";
  e.outcome = Outcome::done;
  e.output_bytes = 120;
  e.output = 0xabcU;
  e.figures = {7, 12, 3, {3600.5, 1.25, 60, 33.3, 2}};
  return e;
}

Entry bad(const std::string& path) {
  Entry e = good(path);
  e.outcome = Outcome::refused;
  e.error = Error{Error::Kind::refused, "no toolhead serves T9", path, 3, 1, "T9", "see the rules"};
  return e;
}

const std::string kDone =
    R"({"path":"a b.gcode","bytes":81,"input":"0000000000000001","rules":"fedcba9876543210",)"
    R"("forewarm":"0.1.0","outcome":"done","output_bytes":120,"output":"0000000000000abc",)"
    R"("changes":7,"put_in":12,"taken_out":3,"duration_s":3600.5,"wait_s":1.25,"hot_idle_s":60.0,)"
    R"("energy_wh":33.3,"cold_starts":2})"
    "\n";
const std::string kRefused =
    R"({"path":"b.gcode","bytes":81,"input":"0000000000000001","rules":"fedcba9876543210",)"
    R"("forewarm":"0.1.0","outcome":"refused","error":{"message":"no toolhead serves T9",)"
    R"("file":"b.gcode","line":3,"column":1,"hint":"see the rules"}})"
    "\n";

}  // namespace

TEST_CASE("batch: an entry as a line, and back") {
  CHECK(line_of(good("a b.gcode")) == kDone);
  CHECK(line_of(bad("b.gcode")) == kRefused);
  for (const std::string& path :
       {"a.gcode"s, "jobs/a.gcode"s, "new\nline \"quoted\" \\ tab\t.gcode"s, "\xff\xfe.gcode"s,
        "gr\xc3\xbcn.gcode"s, "cut \xc3"s, "\x7f\xc2\x9b\x01"s, "\xef\xbf\xbd"s}) {
    for (const Entry& entry : {good(path), bad(path)}) {
      const std::string line = line_of(entry);
      CAPTURE(line);
      CHECK(std::count(line.begin(), line.end(), '\n') == 1);
      const auto back = entry_from(line);
      REQUIRE(back);
      CHECK(back->path == path);
      CHECK(line_of(*back) == line);
    }
  }
  CHECK(line_of(good("\xff.gcode")).find(R"("path_hex":"ff2e67636f6465")") != std::string::npos);
}

TEST_CASE("batch: what is no entry") {
  const auto with = [](const std::string& from, const std::string& to, std::string line) {
    const auto at = line.find(from);
    REQUIRE(at != std::string::npos);
    return line.replace(at, from.size(), to);
  };
  for (const auto& [line, says] : std::vector<std::pair<std::string, std::string>>{
           {"", "is not a JSON object"},
           {"[]", "is not a JSON object"},
           {"{", "is not a JSON object"},
           {kDone.substr(0, 100), "is not a JSON object"},
           {std::string(2000, '['), "is not a JSON object"},
           {"{}", "\"path\" is missing or wrong"},
           {with("\"path\"", "\"paths\"", kDone), "\"path\" is missing or wrong"},
           {with("\"a b.gcode\"", "7", kDone), "\"path\" is missing or wrong"},
           {with("\"bytes\"", "\"path_hex\":\"f\",\"bytes\"", kDone),
            "\"path_hex\" is missing or wrong"},
           {with("\"bytes\"", "\"path_hex\":\"f-\",\"bytes\"", kDone),
            "\"path_hex\" is missing or wrong"},
           {with(":81", ":-81", kDone), "\"bytes\" is missing or wrong"},
           {with(":81", ":81.5", kDone), "\"bytes\" is missing or wrong"},
           {with("0000000000000001", "1", kDone), "\"input\" is missing or wrong"},
           {with("0000000000000001", "000000000000000g", kDone), "\"input\" is missing or wrong"},
           {with("\"done\"", "\"did\"", kDone), "\"outcome\" is missing or wrong"},
           {with("\"done\"", "\"refused\"", kDone), "\"error\" is missing or wrong"},
           {with("\"refused\"", "\"done\"", kRefused), "\"output_bytes\" is missing or wrong"},
           {with("\"line\":3", "\"line\":-3", kRefused), "\"error\" is missing or wrong"},
       }) {
    CAPTURE(line);
    const auto entry = entry_from(line);
    REQUIRE_FALSE(entry);
    CHECK(entry.error().kind == Error::Kind::usage);
    CHECK(entry.error().message == says);
  }
  // A later version may say more.
  CHECK(entry_from(with("\"bytes\"", "\"weather\":\"fair\",\"bytes\"", kDone)));
}

TEST_CASE("batch: a manifest keeps the last of each output, and is sorted") {
  Manifest manifest;
  Entry again = good("x/a.gcode");
  again.output = 5;
  const std::string text = line_of(good("z.gcode")) + line_of(good("a.gcode")) +
                           line_of(bad("b.gcode")) + line_of(again);
  REQUIRE(manifest.read(text, "m"));
  CHECK(manifest.text() == line_of(bad("b.gcode")) + line_of(again) + line_of(good("z.gcode")));
  CHECK(manifest.find("a.gcode")->output == 5);
  CHECK(manifest.find("elsewhere/a.gcode")->output == 5);
  CHECK(manifest.find("c.gcode") == nullptr);
}

TEST_CASE("batch: a manifest that ends anywhere") {
  const std::string text = kDone + kRefused;
  for (std::size_t cut = 0; cut <= text.size(); ++cut) {
    Manifest manifest;
    REQUIRE(manifest.read(text.substr(0, cut), "m"));
    const std::string whole =
        cut < kDone.size() ? "" : (cut < text.size() ? kDone : kDone + kRefused);
    CHECK(manifest.text() == whole);
  }
  Manifest manifest;
  CHECK(said(manifest.read(kDone + "T0\n" + kRefused, "m.jsonl")) ==
        "m.jsonl:2: this is no line of a manifest: is not a JSON object\n"
        "  hint: move the file away, and everything is done again");
}

TEST_CASE("batch: names that end in NULs") {
  using Names = std::vector<std::string>;
  for (const auto& [text, names] :
       std::vector<std::pair<std::string, Names>>{{"", {}},
                                                  {"a\0"s, {"a"}},
                                                  {"a"s, {"a"}},
                                                  {"a\0b"s, {"a", "b"}},
                                                  {"a\0b\0"s, {"a", "b"}},
                                                  {"a\nb\0-c\0 \0"s, {"a\nb", "-c", " "}}}) {
    const auto split = split_files0(text, "list");
    REQUIRE(split);
    CHECK(*split == names);
  }
  for (const auto& [text, says] : std::vector<std::pair<std::string, std::string>>{
           {"\0"s, "list: name 1 is empty"}, {"a\0\0b\0"s, "list: name 2 is empty"}}) {
    const auto split = split_files0(text, "list");
    REQUIRE_FALSE(split);
    CHECK(render(split.error()).substr(0, says.size()) == says);
  }
}

TEST_CASE("batch: outputs that one folder can hold") {
  for (const auto& paths : std::vector<std::vector<std::string>>{
           {},
           {"a.gcode"},
           {"a", "b", "x/c", "../d", "/e", ".hidden", "..."},
           {"a", "A"},
           {"manifest.json", "manifest.jsonl.gcode", "manifest.1-of-x.jsonl", "manifest.-of-.jsonl",
            "manifest..jsonl", "manifest.gcode"},
           {"-a", "./-"}}) {
    CHECK(said(check_names(paths)) == "good");
  }
  for (const auto& [paths, says] : std::vector<std::pair<std::vector<std::string>, std::string>>{
           {{"x/a", "y/b", "y/a"}, "the outputs of \"x/a\" and \"y/a\" would be one file"},
           {{"a", "a"}, "the outputs of \"a\" and \"a\" would be one file"},
           {{"a", "./a"}, "the outputs of \"a\" and \"./a\" would be one file"},
           {{"-"}, "a batch does not read jobs from standard input"},
           {{""}, "\"\" is not the name of a file"},
           {{"x/"}, "\"x/\" is not the name of a file"},
           {{".."}, "\"..\" is not the name of a file"},
           {{"x/.."}, "\"x/..\" is not the name of a file"},
           {{"x/."}, "\"x/.\" is not the name of a file"},
           {{"/"}, "\"/\" is not the name of a file"},
           {{"x/manifest.jsonl"},
            "\"x/manifest.jsonl\": its output would have the name of a manifest"},
           {{"manifest.3-of-4.jsonl"},
            "\"manifest.3-of-4.jsonl\": its output would have the name of a manifest"}}) {
    const auto status = check_names(paths);
    REQUIRE_FALSE(status);
    CHECK(status.error().kind == Error::Kind::usage);
    CHECK(status.error().message == says);
  }
}

TEST_CASE("batch: shards are disjoint and complete") {
  std::mt19937 random(1);
  std::vector<std::string> paths;
  for (int i = 0; i < 500; ++i) {
    paths.push_back("jobs/" + std::to_string(random() % 100'000) + "\n\xff" + std::to_string(i));
  }
  for (std::uint64_t n = 1; n <= 9; ++n) {
    std::vector<std::size_t> sizes(n);
    for (const std::string& path : paths) {
      int holders = 0;
      for (std::uint64_t k = 1; k <= n; ++k) {
        if (!Shard{k, n}.holds(path)) continue;
        ++holders;
        ++sizes[k - 1];
      }
      CHECK(holders == 1);
    }
    // No shard is idle: 500 paths, 9 shards at most.
    for (const std::size_t size : sizes) CHECK(size > 500 / n / 2);
  }
  // The same on any machine: XXH3 of "T0\n" is 0x083d781238a00deb (xxhsum 0.8.1), 3 modulo 8.
  CHECK(Shard{4, 8}.holds("T0\n"));
}

TEST_CASE("batch: how a shard is named") {
  for (const char* text : {"1/1", "1/2", "2/2", "10000/10000"}) {
    CAPTURE(text);
    const auto shard = shard_from(text);
    REQUIRE(shard);
    CHECK(std::to_string(shard->k) + '/' + std::to_string(shard->n) == text);
    CHECK(is_manifest_name(manifest_name(*shard)));
  }
  for (const char* text : {"", "/", "1", "1/", "/2", "0/2", "3/2", "1/0", "-1/2", "1/2/3", "1 /2",
                           "a/b", "1/10001", "1/99999999999999999999", "0x1/2", "+1/2"}) {
    CAPTURE(text);
    const auto shard = shard_from(text);
    REQUIRE_FALSE(shard);
    CHECK(shard.error().kind == Error::Kind::usage);
  }
  CHECK(manifest_name(std::nullopt) == "manifest.jsonl");
  CHECK(manifest_name(Shard{2, 4}) == "manifest.2-of-4.jsonl");
}

TEST_CASE("batch: all is done once, by any number of threads") {
  for (const unsigned threads : {0U, 1U, 2U, 7U, 64U}) {
    for (const std::size_t count : {0U, 1U, 2U, 500U}) {
      CAPTURE(threads, count);
      std::vector<int> done(count), seen(count);
      const auto caller = std::this_thread::get_id();
      std::atomic<unsigned> at_once{0}, most{0};
      bool here = true;
      in_parallel(
          count, threads,
          [&](std::size_t i) {
            const unsigned now = ++at_once;
            for (unsigned was = most; was < now && !most.compare_exchange_weak(was, now);) {
            }
            ++done[i];
            --at_once;
          },
          [&](std::size_t i) {
            here = here && std::this_thread::get_id() == caller;
            seen[i] += done[i];
          },
          [&] { here = here && std::this_thread::get_id() == caller; });
      CHECK(here);
      CHECK(seen == std::vector<int>(count, 1));
      CHECK(most <= std::max(threads, 1U));
    }
  }
}
