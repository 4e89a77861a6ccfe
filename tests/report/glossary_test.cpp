// That every word which heads a column of a table, or names a row, is explained.
#include "report/glossary.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <regex>
#include <set>
#include <string>
#include <vector>

#include "help/files.h"
#include "report/forecast_tables.h"
#include "report/page_sections.h"
#include "report/page_start.h"
#include "report/spools.h"
#include "sample.h"

using namespace forewarm::report;
namespace rules = forewarm::rules;
using forewarm::test::get;

namespace {

std::string lower(std::string text) {
  for (char& c : text) c = c >= 'A' && c <= 'Z' ? char(c - 'A' + 'a') : c;
  return text;
}

bool explained(const std::string& word) {
  const auto words = glossary();
  return std::any_of(words.begin(), words.end(),
                     [&](const GlossaryWord& known) { return known.name == lower(word); });
}

std::vector<std::filesystem::path> report_sources() {
  std::vector<std::filesystem::path> out;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(FOREWARM_SOURCE_DIR) + "/src/report")) {
    if (entry.is_regular_file() && entry.path().filename() != "glossary.cpp") {
      out.push_back(entry.path());
    }
  }
  return out;
}

// What the first group of `pattern` matches in the sources of report/.
std::set<std::string> in_sources(const std::string& pattern) {
  const std::regex regex(pattern);
  std::set<std::string> out;
  for (const auto& path : report_sources()) {
    const std::string text = get(path.string());
    for (std::sregex_iterator at(text.begin(), text.end(), regex), end; at != end; ++at) {
      out.insert((*at)[1]);
    }
  }
  return out;
}

}  // namespace

TEST_CASE("the glossary is sorted, in lower case, and holds sentences") {
  const auto words = glossary();
  CHECK(words.size() > 60);
  for (std::size_t i = 0; i < words.size(); ++i) {
    CAPTURE(words[i].name);
    if (i > 0) CHECK(words[i - 1].name < words[i].name);
    CHECK(lower(std::string(words[i].name)) == words[i].name);
    CHECK(words[i].meaning.ends_with('.'));
    CHECK(words[i].meaning.size() > words[i].name.size() + 10);
  }
}

TEST_CASE("every heading of the forecast's tables is explained") {
  Sample sample;
  sample.rules.machine.heating_limit_w = 100;
  sample.lookahead.figures.guard_s = 1;
  const Summary summary = sample.summary();
  const auto gaps = worst(summary.lookahead, 3);
  std::size_t seen = 0;
  for (const Table& table :
       {policy_table(summary), power_table(summary), toolhead_table(summary),
        filament_table(summary), cause_table(summary), causes_across(summary),
        waits_across(summary), load_table(summary), spool_table(summary), gap_table(summary, gaps),
        hour_table({}, {}).table, policy_bars(summary)[1], time_bars(summary),
        filament_bars(summary), kind_bars(summary), check_table({})}) {
    for (const Column& column : table.columns) {
      for (const std::string& head : {column.head, column.page_head}) {
        if (head.empty()) continue;
        CAPTURE(table.title, head);
        CHECK(explained(head));
        ++seen;
      }
    }
  }
  CHECK(seen > 45);
}

TEST_CASE("every row that the program names is explained") {
  for (const auto policy : {rules::Policy::as_sliced, rules::Policy::timers, rules::Policy::hold,
                            rules::Policy::lookahead}) {
    CHECK(explained(rules::name_of(policy)));
  }
  CHECK(explained(std::get<std::string>(bound_row({}).cells.front())));
  for (const char* row : {"together", "as it is", "best", "best found"}) {
    CAPTURE(row);
    CHECK(explained(row));
  }
  for (const auto& cause : kCauseFigures) CHECK(explained(std::string((*cause).in_full())));
}

// Tables that are made within other sources, as values of which no test can get hold.
TEST_CASE("every quantity, and every heading in the sources of the reports, is explained") {
  const auto quantities = in_sources(R"re(\.(?:long_)?words = "([^"]+)")re");
  CHECK(quantities.size() > 35);
  CHECK(quantities.count("hot idle") == 1);
  const auto heads = in_sources(R"re((?:\.head = |_column\(|across<[^;]*?>\()"([^"]+)")re");
  CHECK(heads.size() > 12);
  CHECK(heads.count("against as-sliced") == 1);
  CHECK(heads.count("time by cause") == 1);
  std::set<std::string> of_review;
  for (const std::string& row : in_sources(R"re(Rows rows\{\{(("[^"]*"(, )?)+)\}\})re")) {
    const std::regex word(R"re("([^"]*)")re");
    for (std::sregex_iterator at(row.begin(), row.end(), word), end; at != end; ++at) {
      of_review.insert((*at)[1]);
    }
  }
  of_review.erase("");
  CHECK(of_review.count("planned") == 1);
  for (const auto& words : {quantities, heads, of_review}) {
    for (const std::string& word : words) {
      CAPTURE(word);
      CHECK(explained(word));
    }
  }
}
