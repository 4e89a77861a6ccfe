// Texts that name the keys of a rule file, held against the table of keys.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <sstream>

#include "rules/key_info.h"
#include "rules_test_help.h"

using namespace forewarm::rules;
using forewarm::test::file;

namespace {

// With single blanks, and none at the ends.
std::string squeezed(const std::string& text) {
  std::istringstream in(text);
  std::string out;
  for (std::string word; in >> word;) out += (out.empty() ? "" : " ") + word;
  return out;
}

// What a commented rule file says beside each key of one of its blocks, in order. A comment stands
// behind the key and on the indented lines below, or else right above. Keys that are commented out,
// or listed in a comment, count.
std::multimap<std::string, std::string> comments_in(const std::string& block) {
  static const std::regex kKey(R"(^(#\s*)?([a-z0-9_]+) = (.*)$)");
  static const std::regex kBehind(R"(\s+# (.*)$)");
  static const std::regex kBelow(R"(^(\s+#|#\s{20,})\s*(.*)$)");
  // The value and what follows it, in a list within a comment.
  static const std::regex kListed(R"(^(N|\{ \.\.\. \}|true|"\.\.\.")\s+(.*)$)");
  std::multimap<std::string, std::string> out;
  auto last = out.end();
  std::string above;
  std::istringstream in(block);
  for (std::string line; std::getline(in, line);) {
    std::smatch m;
    if (last != out.end() && std::regex_match(line, m, kBelow)) {
      last->second += ' ' + m[2].str();
    } else if (std::regex_match(line, m, kKey)) {
      std::string rest = m[3], said;
      std::smatch behind;
      if (std::regex_search(rest, behind, kBehind)) {
        said = behind[1];
      } else if (m[1].matched && std::regex_match(rest, behind, kListed)) {
        said = behind[2];
      } else {
        said = above;
      }
      last = out.emplace(m[2], said);
      above.clear();
    } else {
      last = out.end();
      const bool comment = line.starts_with("# ");
      above = comment ? above + ' ' + line.substr(2) : "";
    }
  }
  for (auto& [key, said] : out) said = squeezed(said);
  return out;
}

// The blocks of a commented rule file, by the name of their first section; "" is what comes before.
std::map<std::string, std::string> blocks_of(const std::string& text) {
  static const std::regex kSection(R"((?:^|\n)\[\[?([a-z]+))");
  std::map<std::string, std::string> out;
  const std::string line = "\n# " + std::string(99, '-') + '\n';
  for (std::size_t at = 0; at != std::string::npos;) {
    const std::size_t end = text.find(line, at);
    const std::string block = text.substr(at, end - at);
    std::smatch m;
    const bool named = std::regex_search(block, m, kSection);
    out[named ? m[1].str() : ""] += block + '\n';
    at = end == std::string::npos ? end : end + line.size();
  }
  return out;
}

std::string block_of(const KeyInfo& info) {
  if (info.section == &sections::heater) return "toolhead";
  // What filaments and materials have in common is said of materials.
  if (info.section == &sections::filament && sections::material.find(info.name) != nullptr) {
    return "material";
  }
  return std::string(info.section->name);
}

}  // namespace

TEST_CASE("the demo rule file says of every key once what its default and its range are") {
  std::map<std::string, std::multimap<std::string, std::string>> said;
  for (const auto& [name, block] : blocks_of(file("config/demo.toml"))) {
    said[name] = comments_in(block);
  }
  for (const KeyInfo& info : all_keys()) {
    const std::string block = block_of(info), key(info.name);
    INFO(block << ' ' << key << ": " << info.summary());
    if (info.type == "table") continue;  // its keys are
    const auto [from, to] = said[block].equal_range(key);
    REQUIRE(from != to);
    int summed_up = 0;
    for (auto it = from; it != to; ++it) {
      UNSCOPED_INFO("  " << it->second);
      if (it->second.starts_with(info.summary()) && !it->second.empty()) ++summed_up;
      // Wherever a default or "required" stands, it is this one.
      if (it->second.starts_with("default ") || it->second.starts_with("required")) {
        CHECK(it->second.starts_with(info.summary()));
      }
    }
    CHECK(summed_up == 1);
  }
}

TEST_CASE("the list of sequences in the text on them has every key that names one") {
  const std::string text = file("src/plan/step-sequences.md");
  std::set<std::string> listed, keys;
  std::size_t at = text.find("| key | of | given |");
  REQUIRE(at != std::string::npos);
  static const std::regex kRow(R"(^\| `([a-z_]+)` \|.*)");
  std::istringstream in(text.substr(at));
  for (std::string line; std::getline(in, line) && line.starts_with('|');) {
    std::smatch m;
    if (std::regex_match(line, m, kRow)) CHECK(listed.insert(m[1]).second);
  }
  for (const KeyInfo& info : all_keys()) {
    if (info.range == "a sequence of [steps]") keys.emplace(info.name);
  }
  CHECK(listed == keys);
}

// Tables of a rule file are read by descriptors alone: Table has no other way in, and nobody but
// Table uses the one that goes by names.
TEST_CASE("no key is read that is not in the table") {
  namespace fs = std::filesystem;
  static const std::regex kByName(
      R"(\b(find|get|at|at_key|has|need|node|read|was_read|one|list|named|table|open_table|tables)\(\s*")");
  int files = 0;
  for (const auto& entry : fs::directory_iterator(FOREWARM_SOURCE_DIR "/src/rules")) {
    const std::string name = entry.path().filename();
    if (name.find("reader.") == 0 || name.find("table.") == 0 || name == "matrix.cpp") continue;
    if (!name.ends_with(".cpp") && !name.ends_with(".h")) continue;
    ++files;
    INFO(name);
    const std::string text = file("src/rules/" + name);
    CHECK(text.find("RawTable") == std::string::npos);
    if (!name.starts_with("load")) continue;
    std::smatch m;
    CHECK_FALSE(std::regex_search(text, m, kByName));
  }
  CHECK(files > 10);
}
