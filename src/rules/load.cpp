#include "rules/load.h"

#include <xxhash.h>

#include <algorithm>
#include <exception>
#include <map>
#include <set>

#include "rules/day_hours.h"
#include "rules/observe.h"
#include "rules/paths.h"
#include "rules/recogniser.h"
#include "rules/sections.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::size_t kMaxPatterns = 200;

std::string tool_text(int tool) { return "T" + std::to_string(tool); }

// Reads every section, then checks what must hold between them. The first diagnostic in the file is
// kept, whichever part made it.
class Loader {
 public:
  Loader(const toml::table& file, Diagnostics& diagnostics)
      : diagnostics_(diagnostics), root_(file, sections::file, diagnostics) {}

  Rules load() {
    if (!version()) return {};
    section(sections::machine, rules_.machine);
    motion();
    section(sections::feeder, rules_.feeder);
    attention();
    toolheads();
    materials();
    filaments();
    section(sections::gap, rules_.gap);
    read_steps(root_, rules_.machine, rules_.steps, step_places_);
    read_dialect(root_, rules_.toolheads, rules_.dialect);
    patterns();
    record();
    check_tools();
    check_heaters();
    check_filaments();
    rules_.uses_steps = sequences_.any();
    sequences_.check(rules_, step_places_, head_of_filament_, diagnostics_);
    return std::move(rules_);
  }

 private:
  struct ToolAt {
    int tool;
    Position at;
  };
  struct ToolheadPlaces {
    std::vector<ToolAt> tools;
    Position heater;
    bool heater_given = false;
    std::optional<Position> power;
  };
  struct FilamentPlaces {
    Position tool;
    bool tool_known = false;
    std::optional<Position> standby, exchange;  // or the material's name, where that set it
  };

  // In a file for another version, further diagnostics would not help.
  bool version() {
    const Key<Rules>& key = sections::file.keys.front();
    if (const toml::node* node = root_.node(key)) {
      const auto* version = node->as_integer();
      if (version == nullptr || version->get() != 1) {
        diagnostics_.add(
            position_of(*node),
            "version must be 1, not " +
                (version != nullptr ? std::to_string(version->get()) : kind_of(*node)));
        return false;
      }
    }
    root_.read(rules_);
    return true;
  }

  template <class S>
  void section(const Section<S>& section, S& into) {
    if (auto t = root_.one(section)) t->read(into);
  }

  void motion() {
    auto t = root_.one(sections::motion);
    if (!t) return;
    t->read(rules_.motion);
    if (t->was_read(&Motion::rests_at)) {
      for (const toml::node& e : *t->node(&Motion::rests_at)->as_array()) {
        rest_places_.push_back(position_of(e));
      }
    }
    // How corners are taken: the first that the file has, and a second.
    std::vector<std::pair<std::string_view, Position>> ways;
    const auto add = [&](auto field) {
      if (t->has(field)) ways.emplace_back(t->section().of(field).name, t->at_key(field));
    };
    add(&Motion::jerk_mm_s);
    add(&Motion::junction_deviation_mm);
    add(&Motion::right_angle_mm_s);
    if (ways.size() < 2) return;
    const auto place = [](Position p) { return std::pair(p.line, p.column); };
    const auto [a, b] = std::pair(ways[0], ways[1]);
    diagnostics_.add(place(a.second) < place(b.second) ? b.second : a.second,
                     std::string(a.first) + " and " + std::string(b.first) + " exclude each other",
                     "keep the one that the machine's firmware uses");
  }

  void attention() {
    auto t = root_.one(sections::attention);
    if (!t) return;
    t->read(rules_.attention);
    if (!t->was_read(&AttentionSettings::away)) return;
    std::vector<DayHours> all;
    for (const toml::node& e : *t->node(&AttentionSettings::away)->as_array()) {
      DayHours hours;
      const auto why = read_hours(e.as_string()->get(), hours);
      if (why) diagnostics_.add(position_of(e), "away: " + why->first, "write " + why->second);
      if (!why) all.push_back(hours);
    }
    if (whole_day(all)) {
      diagnostics_.add(t->at(&AttentionSettings::away), std::string(kAwayAllDay),
                       std::string(kAwayAllDayHint));
    }
  }

  void toolheads() {
    const toml::node* node = root_.node(sections::toolhead);
    if (node == nullptr) return;
    const auto tables = root_.list(sections::toolhead);
    if (const auto* a = node->as_array(); a != nullptr && a->empty()) {
      diagnostics_.add(position_of(*node), "a rule file has at least one [[toolhead]]");
    }
    std::set<std::string> names;
    for (const toml::table* raw : tables) {
      Table t(*raw, sections::toolhead, diagnostics_);
      Toolhead head;
      ToolheadPlaces places;
      t.read(head);
      if (t.was_read(&Toolhead::name) && !names.insert(head.name).second) {
        diagnostics_.add(t.at(&Toolhead::name),
                         "there is a toolhead " + quoted(head.name) + " already");
      }
      tools(t, tables.size(), head, places);
      heater(t, head, places);
      sequences_.add(t, head);
      rules_.toolheads.push_back(std::move(head));
      places_.push_back(std::move(places));
    }
  }

  void tools(const Table<Toolhead>& t, std::size_t toolheads, Toolhead& head,
             ToolheadPlaces& places) {
    if (!t.has(&Toolhead::tools)) return;
    const toml::node& node = *t.node(&Toolhead::tools);
    if (const auto* word = node.as_string()) {
      if (word->get() != "seen") {
        diagnostics_.add(
            position_of(node),
            "tools must be an array of T numbers or \"seen\", not " + quoted(word->get()));
      } else if (toolheads != 1) {
        diagnostics_.add(position_of(node), "tools = \"seen\" stands for every toolhead",
                         "keep one [[toolhead]], or give each its T numbers");
      }
      rules_.toolhead_per_tool_seen = true;
      return;
    }
    const toml::array* array = node.as_array();
    if (array == nullptr) {
      diagnostics_.add(position_of(node),
                       "tools must be an array of T numbers or \"seen\", not " + kind_of(node));
      return;
    }
    if (array->empty())
      diagnostics_.add(position_of(node), "tools must name at least one T number");
    for (const toml::node& element : *array) {
      const auto tool = index_in(element, "a tool", diagnostics_);
      if (!tool) continue;
      head.tools.push_back(*tool);
      places.tools.push_back({*tool, position_of(element)});
    }
  }

  void heater(const Table<Toolhead>& t, Toolhead& head, ToolheadPlaces& places) {
    using thermal::Hotend;
    places.heater = t.at(&Toolhead::tools);
    if (!head.tools.empty()) head.heater_index = head.tools.front();
    auto h = t.one(sections::heater);
    if (!h) return;
    head.hotend.ambient_c = rules_.machine.ambient_c;
    h->read(head);
    places.heater_given = h->was_read(&Toolhead::heater_index);
    if (places.heater_given) places.heater = h->at(&Toolhead::heater_index);
    if (h->was_read(&Hotend::power_w)) places.power = h->at(&Hotend::power_w);
    above_ambient(*h, &Hotend::full_drive_c, head.hotend.full_drive_c);
    above_ambient(*h, &Toolhead::max_c, head.max_c);
    if (head.hotend.approach_c > 0 && head.hotend.reached_c <= 0) {
      const auto& reached = h->section().of(&Hotend::reached_c);
      constexpr std::string_view kHint =
          "what is left within approach_c never quite goes; reached_c = 1 is the target less 1 C";
      if (h->need(reached, kHint) && h->was_read(reached)) {
        diagnostics_.add(h->at(reached), "reached_c must be over 0 where approach_c is",
                         std::string(kHint));
      }
    }
  }

  template <class Member>
  void above_ambient(const Table<Toolhead>& t, Member field, double value) {
    const double ambient = rules_.machine.ambient_c;
    if (value > ambient || !t.was_read(field)) return;
    diagnostics_.add(t.at(field), std::string(t.section().of(field).name) +
                                      " must be more than machine.ambient_c, which is " +
                                      text_of(ambient) + ", not " + text_of(value));
  }

  void materials() {
    const toml::table* tables = root_.named(sections::material);
    if (tables == nullptr) return;
    for (const auto& [key, node] : *tables) {
      const std::string name(key.str());
      if (name.empty()) diagnostics_.add(key.source().begin, "a material must have a name");
      if (const auto why = why_unfit(name)) {
        diagnostics_.add(key.source().begin, "the name of a material " + *why);
      }
      const toml::table* raw = node.as_table();
      if (raw == nullptr) {
        diagnostics_.add(position_of(node), "material must hold tables, not " + kind_of(node),
                         "write [material.NAME], then its values");
        continue;
      }
      Filament material;
      material.name = material.material = name;
      Table t(*raw, sections::material, "[material." + printable(name, 80) + ']', diagnostics_);
      t.read(material);
      sequences_.add(t, material);
      if (t.has(&Filament::standby_c)) materials_with_standby_.insert(name);
      materials_.emplace(name, rules_.materials.size());
      rules_.materials.push_back(std::move(material));
    }
  }

  void filaments() {
    const PlaceReader places_of(rules_);
    for (const toml::table* raw : root_.list(sections::filament)) {
      Table t(*raw, sections::filament, diagnostics_);
      Filament filament;
      FilamentPlaces places{t.at(&Filament::tool), false, std::nullopt, std::nullopt};
      Position material_at = t.at(&Filament::material);
      if (t.read(&Filament::material, filament)) {
        const std::string name = filament.material;
        if (const Filament* m = material(name)) {
          filament = *m;
          if (materials_with_standby_.contains(name)) places.standby = material_at;
          if (m->exchange_c) places.exchange = material_at;
        } else {
          unknown_material(name, material_at);
        }
      }
      t.read(filament);
      sequences_.add(t, filament);
      filament.line = t.at().line;
      places.tool_known = t.was_read(&Filament::tool);
      if (!t.was_read(&Filament::name)) filament.name = tool_text(filament.tool);
      if (t.has(&Filament::standby_c)) places.standby = t.at(&Filament::standby_c);
      if (t.has(&Filament::exchange_c)) places.exchange = t.at(&Filament::exchange_c);
      places_of.read(t, filament);
      rules_.filaments.push_back(std::move(filament));
      filament_places_.push_back(places);
    }
  }

  // A file that describes no material may still name some, for reports.
  void unknown_material(const std::string& name, Position at) {
    if (rules_.materials.empty() || !diagnostics_.wanted(at)) return;
    std::vector<std::string> names;
    for (const Filament& m : rules_.materials) names.push_back(m.material);
    diagnostics_.add(at, "there is no [material." + printable(name, 80) + ']',
                     suggest(name, names));
  }

  const Filament* material(const std::string& name) const {
    const auto it = materials_.find(name);
    return it == materials_.end() ? nullptr : &rules_.materials[it->second];
  }

  void patterns() {
    std::size_t count = 0;
    const auto too_many = [&](Position at, const char* where) {
      if (++count <= kMaxPatterns) return false;
      diagnostics_.add(at, "more than " + std::to_string(kMaxPatterns) + " patterns in " + where);
      return true;
    };
    constexpr const char* kOfJobs = "rests_at, [[recognise]] and [[duration]]";
    for (std::size_t i = 0; i < rest_places_.size(); ++i) {
      if (too_many(rest_places_[i], kOfJobs)) return;
      // A line that was refused before is not there.
      if (!diagnostics_.any()) {
        check_pattern(Duration{rules_.motion.rests_at[i], 0}, rest_places_[i]);
      }
    }
    for (const toml::table* raw : root_.list(sections::recognise)) {
      Table t(*raw, sections::recognise, diagnostics_);
      if (too_many(t.at(), kOfJobs)) return;
      Recognise r;
      if (!t.read(r) || (t.has(&Recognise::tool) && !r.tool)) continue;
      check_pattern(r, t.at(&Recognise::match));
      check_fixed_tool(t, r);
      rules_.recognise.push_back(std::move(r));
    }
    for (const toml::table* raw : root_.list(sections::duration)) {
      Table t(*raw, sections::duration, diagnostics_);
      if (too_many(t.at(), kOfJobs)) return;
      Duration d;
      t.read(d);
      if (!t.was_read(&Duration::match)) continue;
      check_pattern(d, t.at(&Duration::match));
      rules_.durations.push_back(std::move(d));
    }
    count = 0;
    for (const toml::table* raw : root_.list(sections::observe)) {
      Table t(*raw, sections::observe, diagnostics_);
      if (too_many(t.at(), "[[observe]]")) return;
      Observe o;
      if (!t.read(o)) continue;
      check_pattern(o, t.at(&Observe::match));
      rules_.observe.push_back(std::move(o));
    }
  }

  void check_fixed_tool(const Table<Recognise>& t, const Recognise& r) {
    using As = Recognise::As;
    if (!t.was_read(&Recognise::tool)) return;
    if (r.as == As::purge_begin || r.as == As::purge_end || r.as == As::layer ||
        r.as == As::pause) {
      diagnostics_.add(t.at_key(&Recognise::tool), "tool does nothing with that `as`",
                       "it goes with \"change\", \"set\" and \"wait\"");
    } else if (!rules_.toolhead_per_tool_seen && !rules_.toolhead_of(*r.tool)) {
      unserved(*r.tool, t.at(&Recognise::tool));
    }
  }

  void record() {
    auto t = root_.one(sections::record);
    if (!t) return;
    t->read(rules_.record);
    const toml::node* node = t->node(&RecordSettings::time);
    const toml::array* times = node != nullptr ? node->as_array() : nullptr;
    if (times == nullptr) return;
    for (const toml::node& element : *times) {
      const auto* text = element.as_string();
      const Position at = position_of(element);
      if (text == nullptr || !diagnostics_.wanted(at)) continue;
      if (const auto why = why_no_time(text->get(), &room_)) diagnostics_.add(at, *why);
    }
  }

  // Compiling a large pattern takes long, so it is skipped where no diagnostic would be kept.
  template <class Pattern>
  void check_pattern(const Pattern& pattern, Position at) {
    if (!diagnostics_.wanted(at)) return;
    if (const auto why = why_unusable(pattern, &room_)) diagnostics_.add(at, *why);
  }

  void check_tools() {
    for (std::size_t i = 0; i < places_.size(); ++i) {
      for (const ToolAt& t : places_[i].tools) {
        const auto [it, fresh] = served_by_.emplace(t.tool, i);
        if (fresh) continue;
        diagnostics_.add(t.at, it->second == i ? tool_text(t.tool) + " is listed twice"
                                               : tool_text(t.tool) + " is served by both " +
                                                     head(it->second) + " and " + head(i));
      }
    }
  }

  void check_heaters() {
    std::map<int, std::size_t> heater_of;
    for (std::size_t i = 0; i < places_.size(); ++i) {
      if (rules_.toolhead_per_tool_seen) {
        if (places_[i].heater_given) {
          diagnostics_.add(places_[i].heater,
                           "heater.index does not go with tools = \"seen\": it is the T number");
        }
        continue;
      }
      const int index = rules_.toolheads[i].heater_index;
      const auto [it, fresh] = heater_of.emplace(index, i);
      if (fresh) continue;
      diagnostics_.add(
          places_[i].heater,
          "heater " + std::to_string(index) + " is that of both " + head(it->second) + " and " +
              head(i),
          places_[i].heater_given ? "" : "heater.index is the first of tools unless it is given");
    }
    const auto& limit = rules_.machine.heating_limit_w;
    if (!limit) return;
    for (std::size_t i = 0; i < places_.size(); ++i) {
      const double power = rules_.toolheads[i].hotend.power_w;
      if (!places_[i].power || power + rules_.machine.bed_w <= *limit) continue;
      const double bed = rules_.machine.bed_w;
      diagnostics_.add(*places_[i].power,
                       "power_w = " + text_of(power) + " of " + head(i) +
                           (bed > 0 ? " and bed_w = " + text_of(bed) + " are" : " alone is") +
                           " more than machine.heating_limit_w, which is " + text_of(*limit));
    }
  }

  void check_filaments() {
    head_of_filament_.resize(filament_places_.size());
    std::set<int> seen;
    for (std::size_t i = 0; i < filament_places_.size(); ++i) {
      const FilamentPlaces& at = filament_places_[i];
      const Filament& filament = rules_.filaments[i];
      if (!at.tool_known) continue;
      if (!seen.insert(filament.tool).second) {
        diagnostics_.add(at.tool,
                         "there is a filament for " + tool_text(filament.tool) + " already");
      }
      const auto toolhead = toolhead_for(filament.tool);
      if (!toolhead) {
        unserved(filament.tool, at.tool);
        continue;
      }
      head_of_filament_[i] = toolhead;
      const Toolhead& h = rules_.toolheads[*toolhead];
      if (at.standby) check_max(*at.standby, "standby_c", filament.standby_c, h, diagnostics_);
      // A wrong exchange_c was refused before, and is not there.
      if (at.exchange && filament.exchange_c) {
        check_max(*at.exchange, "exchange_c", *filament.exchange_c, h, diagnostics_);
      }
    }
  }

  [[nodiscard]] std::optional<std::size_t> toolhead_for(int tool) const {
    if (rules_.toolhead_per_tool_seen && !rules_.toolheads.empty()) return 0;
    const auto it = served_by_.find(tool);
    return it == served_by_.end() ? std::nullopt : std::optional(it->second);
  }

  void unserved(int tool, Position at) {
    if (!diagnostics_.wanted(at)) return;
    std::string all;
    for (const Toolhead& h : rules_.toolheads) {
      for (const int served : h.tools) {
        if (all.size() < 80) all += (all.empty() ? "served are " : ", ") + tool_text(served);
      }
    }
    diagnostics_.add(at, "no toolhead serves " + tool_text(tool), all);
  }

  [[nodiscard]] std::string head(std::size_t i) const { return quoted(rules_.toolheads[i].name); }

  Diagnostics& diagnostics_;
  Table<Rules> root_;
  Rules rules_;
  std::vector<ToolheadPlaces> places_;            // as rules_.toolheads
  std::vector<FilamentPlaces> filament_places_;   // as rules_.filaments
  std::map<int, std::size_t> served_by_;          // a toolhead's place, by tool
  std::map<std::string, std::size_t> materials_;  // a material's place, by name
  std::set<std::string> materials_with_standby_;
  std::vector<std::optional<std::size_t>> head_of_filament_;  // as rules_.filaments
  std::vector<Position> rest_places_;                         // as rules_.motion.rests_at
  SequenceUses sequences_;
  StepPlaces step_places_;
  std::size_t room_ = kMaxInstructions;  // for patterns
};

}  // namespace

Result<Rules> load(std::string_view text, const std::string& name) {
  return load_edited(text, name, [](toml::table&) { return success(); });
}

Result<Rules> load_edited(std::string_view text, const std::string& name, const Edit& edit) {
  if (text.size() > kMaxRuleBytes) {
    return Error{Error::Kind::rules, "a rule file has at most 1 MiB", name};
  }
  Diagnostics diagnostics(text, name);
  if (const auto at = too_deep(text)) {
    diagnostics.add(*at, "nested too deeply for a rule file");
    return diagnostics.first();
  }
  try {
    toml::table file = toml::parse(text);
    if (auto s = edit(file); !s) return std::move(s.error());
    Rules rules = Loader(file, diagnostics).load();
    if (diagnostics.any()) return diagnostics.first();
    rules.file = name;
    rules.hash = XXH3_64bits(text.data(), text.size());
    return rules;
  } catch (const toml::parse_error& e) {
    diagnostics.add(e.source().begin, printable(e.description(), 400));
    return diagnostics.first();
  } catch (const std::exception& e) {
    return Error{Error::Kind::internal, printable(e.what(), 400), name};
  }
}

Result<Rules> built_in(std::span<const Setting> settings) {
  auto rules = load(built_in_text(), "built-in guesses", settings);
  if (rules) rules->built_in = true;
  return rules;
}

}  // namespace forewarm::rules
