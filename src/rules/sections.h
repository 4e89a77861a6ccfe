// Parts of the loader: values that need more than their key's descriptor, and what must hold
// between keys. Internal to rules/; load.cpp has the rest.
#pragma once

#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "rules/rules.h"
#include "rules/table.h"

namespace forewarm::rules {

// Loads a rule file as load() does, after `edit` has changed what was parsed. Nodes that it adds
// stand at line 0. The hash is that of `text`.
using Edit = std::function<Status(toml::table& file)>;
[[nodiscard]] Result<Rules> load_edited(std::string_view text, const std::string& name,
                                        const Edit& edit);

// Positions of the steps that other sections restrict, by sequence.
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

void read_steps(const Table<Rules>& root, const Machine& machine, std::vector<Sequence>& into,
                StepPlaces& places);
// REQUIRES: toolheads are read.
void read_dialect(const Table<Rules>& root, const std::vector<Toolhead>& toolheads, Dialect& into);

// The names of sequences in toolheads, filaments and materials, and the checks of what they run.
// REQUIRES: toolheads are read in the order in which Rules has them.
class SequenceUses {
 public:
  // The sequences that a toolhead, filament or material names. `t` has been read into `from`.
  void add(const Table<Toolhead>& t, const Toolhead& from);
  void add(const Table<Filament>& t, const Filament& from);
  [[nodiscard]] bool any() const { return !uses_.empty(); }
  // `head_of`: each filament's toolhead, or nothing where that is not known.
  void check(const Rules& rules, const StepPlaces& steps,
             const std::vector<std::optional<std::size_t>>& head_of,
             Diagnostics& diagnostics) const;

 private:
  struct Use {
    std::string sequence;
    Position at;
    std::string_view key;  // that names it
  };
  struct HeadPlaces {
    Position before_park, after_pick;
  };

  template <class S>
  void add_named(const Table<S>& t, const S& from);
  void check_names(const Rules& rules, Diagnostics& diagnostics) const;
  void check_make_up(const Rules& rules, Diagnostics& diagnostics) const;
  void check_balance(const Rules& rules, Diagnostics& diagnostics) const;

  std::vector<Use> uses_;
  std::vector<HeadPlaces> heads_;  // as Rules::toolheads
};

void check_max(Position at, const std::string& key, double temp_c, const Toolhead& head,
               Diagnostics& diagnostics);

// Reads only and never of a filament, and checks them with fixed. REQUIRES: all toolheads are read.
class PlaceReader {
 public:
  explicit PlaceReader(const Rules& rules);
  // REQUIRES: the other keys have been read into `into`.
  void read(const Table<Filament>& filament, Filament& into) const;

 private:
  bool places(const toml::node* node, std::string_view key, Diagnostics& diagnostics,
              Places& into) const;
  void tool(const toml::node& node, std::string_view key, Diagnostics& diagnostics,
            Places& into) const;
  void head(const toml::node& node, const std::string& name, Diagnostics& diagnostics,
            Places& into) const;
  [[nodiscard]] bool some_left(const Filament& filament) const;

  const Rules& rules_;
  std::map<std::string, std::size_t, std::less<>> head_of_name_;
  std::map<int, std::size_t> head_of_tool_;
};

}  // namespace forewarm::rules
