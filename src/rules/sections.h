// The sections of a rule file that can be read without knowing the others. Internal to rules/;
// load.cpp has the rest, and what must hold between sections.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "rules/reader.h"
#include "rules/rules.h"

namespace forewarm::rules {

void read_machine(const Table& root, Machine& into);
void read_motion(const Table& root, Motion& into);
void read_feeder(const Table& root, Feeder& into);

// Where in the file the steps are whose rightness depends on other sections.
struct StepPlaces {
  struct Temperature {
    double temp_c;
    Position at;
  };
  std::map<std::string, std::vector<Temperature>> temperatures;  // by sequence
};

void read_steps(const Table& root, const Machine& machine, std::vector<Sequence>& into,
                StepPlaces& places);
void read_dialect(const Table& root, Dialect& into);

// Reads only, never and fixed of a filament. REQUIRES: all toolheads are read.
class PlaceReader {
 public:
  explicit PlaceReader(const Rules& rules);
  // `tool_known`: into.tool was given, and is right.
  void read(const Table& filament, bool tool_known, Filament& into) const;

 private:
  bool places(const Table& t, std::string_view key, Places& into) const;
  void tool(const toml::node& node, std::string_view key, Findings& findings, Places& into) const;
  void head(const toml::node& node, const std::string& name, Findings& findings,
            Places& into) const;
  [[nodiscard]] bool some_left(const Filament& filament) const;

  const Rules& rules_;
  std::map<std::string, std::size_t, std::less<>> head_of_name_;
  std::map<int, std::size_t> head_of_tool_;
};

// One word out of a fixed few; nothing, and a complaint, for any other.
template <class Value>
std::optional<Value> choice(const Table& table, std::string_view key,
                            const std::vector<std::pair<std::string_view, Value>>& words) {
  std::string word;
  if (!table.raw_text(key, word)) return std::nullopt;
  std::vector<std::string_view> known;
  for (const auto& [name, value] : words) {
    if (word == name) return value;
    known.push_back(name);
  }
  table.findings().add(table.at(key), "unknown " + std::string(key) + ' ' + quoted(word),
                       suggest(word, known));
  return std::nullopt;
}

}  // namespace forewarm::rules
