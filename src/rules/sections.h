// The sections of a rule file that can be read without knowing the others. Internal to rules/;
// load.cpp has the rest, and what must hold between sections; of sequences, load_sequences.cpp.
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

// Where in the file the steps are whose rightness depends on other sections, by sequence.
struct StepPlaces {
  struct Temperature {
    double temp_c;
    Position at;
  };
  struct Feed {  // forwards
    std::optional<double> speed_mm_s;
    Position at;  // its speed, or itself where it has none
  };
  std::map<std::string, std::vector<Temperature>> temperatures;
  std::map<std::string, std::vector<Feed>> feeds;
};

void read_steps(const Table& root, const Machine& machine, std::vector<Sequence>& into,
                StepPlaces& places);
void read_dialect(const Table& root, Dialect& into);

// Who names which sequence of [steps], and whether that goes together. REQUIRES: toolheads are read
// in the order in which Rules has them.
class SequenceUses {
 public:
  void read_toolhead(const Table& t, Toolhead& into);
  void read_filament(const Table& t, Filament& into);  // or a material
  [[nodiscard]] bool any() const { return !uses_.empty(); }
  // `head_of`: each filament's toolhead, or nothing where that is not known.
  void check(const Rules& rules, const StepPlaces& steps,
             const std::vector<std::optional<std::size_t>>& head_of, Diagnostics& findings) const;

 private:
  struct Use {
    std::string sequence;
    Position at;
  };
  struct HeadPlaces {
    Position before_park, after_pick;
  };

  void read(const Table& t, std::string_view key, std::string& into);
  void check_names(const Rules& rules, Diagnostics& findings) const;
  void check_balance(const Rules& rules, Diagnostics& findings) const;

  std::vector<Use> uses_;
  std::vector<HeadPlaces> heads_;  // as Rules::toolheads
};

void check_max(Position at, const std::string& key, double temp_c, const Toolhead& head,
               Diagnostics& findings);

// Reads only, never and fixed of a filament. REQUIRES: all toolheads are read.
class PlaceReader {
 public:
  explicit PlaceReader(const Rules& rules);
  // `tool_known`: into.tool was given, and is right.
  void read(const Table& filament, bool tool_known, Filament& into) const;

 private:
  bool places(const Table& t, std::string_view key, Places& into) const;
  void tool(const toml::node& node, std::string_view key, Diagnostics& findings,
            Places& into) const;
  void head(const toml::node& node, const std::string& name, Diagnostics& findings,
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
