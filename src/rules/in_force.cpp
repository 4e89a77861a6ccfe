#include "rules/in_force.h"

#include <utility>

#include "rules/keys.h"
#include "rules/load.h"
#include "rules/path_tables.h"
#include "rules/reader.h"
#include "rules/value_text.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

// Whether a part of the value was put in place of the file's: an axis.
bool has_setting(const toml::node& node) {
  if (position_of(node).line == 0) return true;
  const toml::table* table = node.as_table();
  if (table == nullptr) return false;
  for (const auto& [key, inner] : *table) {
    if (position_of(inner).line == 0) return true;
  }
  return false;
}

class Teller {
 public:
  Teller(const toml::table& file, const Rules& rules) : file_(file), rules_(rules) {}

  std::vector<PartInForce> tell() {
    one(sections::machine, rules_.machine);
    one(sections::motion, rules_.motion);
    one(sections::feeder, rules_.feeder);
    one(sections::attention, rules_.attention);
    toolheads();
    filaments();
    one(sections::gap, rules_.gap);
    steps();
    one(sections::dialect, rules_.dialect);
    patterns(sections::recognise, rules_.recognise);
    patterns(sections::duration, rules_.durations);
    one(sections::record, rules_.record);
    patterns(sections::observe, rules_.observe);
    return std::move(parts_);
  }

 private:
  template <class S>
  void one(const Section<S>& section, const S& from) {
    PartInForce part{std::string(section.header), {}};
    add(part, section, from, file_.get_as<toml::table>(section.name));
    parts_.push_back(std::move(part));
  }

  // `material`: the table that stands for keys which `table` has not.
  template <class S>
  void add(PartInForce& part, const Section<S>& section, const S& from, const toml::table* table,
           const std::string& before = {}, const toml::table* material = nullptr,
           const std::string& material_name = {}) const {
    for (const Key<S>& key : section.keys) {
      if (std::holds_alternative<Part>(key.value)) continue;
      InForce value{before + std::string(key.name),
                    std::visit(ValueText<S>{from, rules_}, key.value)};
      const auto placed = [&](const toml::table* in, InForce::From where) {
        const toml::node* node = in == nullptr ? nullptr : in->get(key.name);
        if (node == nullptr) return false;
        value.line = position_of(*node).line;
        value.from = has_setting(*node) ? InForce::From::setting : where;
        return true;
      };
      if (!placed(table, InForce::From::file) && placed(material, InForce::From::material)) {
        value.material = material_name;
      }
      // A default that stands for another value is told in words.
      const bool words = value.from == InForce::From::fallback && !key.derived.empty() &&
                         !std::holds_alternative<Index<S>>(key.value);
      if (words && value.value == std::visit(ValueText<S>{S(), rules_}, key.value)) {
        value.value = key.derived;
      }
      part.values.push_back(std::move(value));
    }
  }

  [[nodiscard]] std::vector<const toml::table*> list(std::string_view name) const {
    std::vector<const toml::table*> out;
    if (const toml::array* array = file_.get_as<toml::array>(name)) {
      for (const toml::node& node : *array) {
        if (const toml::table* table = node.as_table()) out.push_back(table);
      }
    }
    return out;
  }

  void toolheads() {
    const auto tables = list(sections::toolhead.name);
    for (std::size_t i = 0; i < rules_.toolheads.size() && i < tables.size(); ++i) {
      const Toolhead& head = rules_.toolheads[i];
      PartInForce part{"[[toolhead]] " + head.name, {}};
      add(part, sections::toolhead, head, tables[i]);
      add(part, sections::heater, head, tables[i]->get_as<toml::table>(sections::heater.name),
          "heater.");
      parts_.push_back(std::move(part));
    }
  }

  void filaments() {
    const auto tables = list(sections::filament.name);
    const toml::table* const materials = file_.get_as<toml::table>(sections::material.name);
    for (std::size_t i = 0; i < rules_.filaments.size() && i < tables.size(); ++i) {
      const Filament& f = rules_.filaments[i];
      PartInForce part{"[[filament]] T" + std::to_string(f.tool), {}};
      const toml::table* const material =
          materials == nullptr ? nullptr : materials->get_as<toml::table>(f.material);
      add(part, sections::filament, f, tables[i], {}, material, f.material);
      parts_.push_back(std::move(part));
    }
  }

  void steps() {
    const toml::table* const table = file_.get_as<toml::table>(sections::steps.name);
    if (table == nullptr || rules_.steps.empty()) return;
    PartInForce part{std::string(sections::steps.header), {}};
    for (const Sequence& s : rules_.steps) {
      const toml::node* const node = table->get(s.name);
      part.values.push_back(
          {s.name, std::to_string(s.steps.size()) + (s.steps.size() == 1 ? " step" : " steps"),
           InForce::From::file, node == nullptr ? 0 : position_of(*node).line});
    }
    parts_.push_back(std::move(part));
  }

  // One value each: what its other keys say.
  template <class S>
  void patterns(const Section<S>& section, const std::vector<S>& from) {
    const auto tables = list(section.name);
    if (from.empty()) return;
    PartInForce part{std::string(section.header), {}};
    for (std::size_t i = 0; i < from.size() && i < tables.size(); ++i) {
      InForce row{
          toml_pattern(from[i].match), {}, InForce::From::file, position_of(*tables[i]).line};
      for (const Key<S>& key : section.keys) {
        if (key.is(&S::match) || tables[i]->get(key.name) == nullptr) continue;
        row.value += (row.value.empty() ? "" : ", ") + std::string(key.name) + " = " +
                     std::visit(ValueText<S>{from[i], rules_}, key.value);
      }
      part.values.push_back(std::move(row));
    }
    parts_.push_back(std::move(part));
  }

  const toml::table& file_;
  const Rules& rules_;
  std::vector<PartInForce> parts_;
};

}  // namespace

Result<std::vector<PartInForce>> in_force(std::string_view text, const std::string& name,
                                          std::span<const Setting> settings) {
  const auto rules = load(text, name, settings);
  if (!rules) return rules.error();
  try {
    toml::table file = toml::parse(text);
    for (const Setting& s : settings) {
      if (auto applied = apply(s, file); !applied) return std::move(applied.error());
    }
    return Teller(file, *rules).tell();
  } catch (const toml::parse_error& e) {
    return Error{Error::Kind::internal, printable(e.description(), 400), name};
  }
}

}  // namespace forewarm::rules
