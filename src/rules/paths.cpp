#include "rules/paths.h"

#include <algorithm>
#include <charconv>
#include <optional>
#include <vector>

#include <xxhash.h>

#include "rules/path_tables.h"
#include "rules/sections.h"
#include "rules/words.h"

namespace forewarm::rules {

namespace {

using Shape = SectionInfo::Shape;

Error usage(std::string message, std::string hint = {}) {
  return {Error::Kind::usage, std::move(message), {}, 0, 0, {}, std::move(hint)};
}

// Removes and returns what stands before the first dot, or all.
std::string_view first_part(std::string_view& rest) {
  const std::string_view part = rest.substr(0, rest.find('.'));
  rest.remove_prefix(std::min(rest.size(), part.size() + 1));
  return part;
}

// Likewise, after the last dot.
std::string_view last_part(std::string_view& rest) {
  const std::size_t dot = rest.rfind('.');
  const std::string_view part = dot == std::string_view::npos ? rest : rest.substr(dot + 1);
  rest.remove_suffix(std::min(rest.size(), part.size() + 1));
  return part;
}

bool has_path(const SectionInfo& section) {
  return section.shape == Shape::one || section.shape == Shape::named ||
         &section == &sections::toolhead || &section == &sections::filament;
}

bool is_axis(std::string_view part) {
  return part.size() == 1 && std::string_view("xyze").find(part) != std::string_view::npos;
}

// 3 of "T3"
std::optional<int> tool_in(std::string_view name) {
  int tool = 0;
  const char* const end = name.data() + name.size();
  if (!name.starts_with('T') || name.size() < 2) return std::nullopt;
  const auto [stop, error] = std::from_chars(name.data() + 1, end, tool);
  if (error != std::errc() || stop != end || tool < 0 || tool > kMaxIndex) return std::nullopt;
  return tool;
}

// The table of that name, which is made where there is none; null where it is no table.
toml::table* child(toml::table* in, std::string_view name) {
  if (in == nullptr) return nullptr;
  if (!in->contains(name)) in->insert(name, toml::table());
  return in->get_as<toml::table>(name);
}

// The tables of [[name]].
std::vector<toml::table*> list(toml::table& file, std::string_view name) {
  std::vector<toml::table*> out;
  if (toml::array* array = file.get_as<toml::array>(name)) {
    for (toml::node& node : *array) {
      if (toml::table* table = node.as_table()) out.push_back(table);
    }
  }
  return out;
}

// "such as toolhead.ash.park_s": the path of that key of a section. Empty: it has none.
std::string such_as(const SectionInfo& section, std::string_view key) {
  std::string before;
  if (&section == &sections::heater) {
    before = "toolhead.ash.heater.";
  } else if (&section == &sections::toolhead) {
    before = "toolhead.ash.";
  } else if (&section == &sections::filament) {
    before = "filament.T0.";
  } else if (section.shape == Shape::named) {
    before = "material.PLA.";
  } else if (section.shape == Shape::one) {
    before = std::string(section.name) + '.';
  } else {
    return {};
  }
  return "such as " + before + std::string(key);
}

constexpr const char* kNoNameInside = "what is in it has no name by which a path could find it";

// A word that stands in the file, and is no key of [gap].
std::optional<Error> not_of_gap(std::string_view word, const std::vector<KeyInfo>& all) {
  std::optional<Error> error;
  for_each_section([&](const auto& s) {
    if (s.name.empty() || s.name != word) return;
    std::string hint;
    for (const auto& key : s.keys) {
      if (hint.empty() && key.number() != nullptr) hint = such_as(s, key.name);
    }
    error = usage(std::string(s.header) + " is a section, not a key",
                  hint.empty() ? kNoNameInside : hint);
  });
  for (const KeyInfo& info : all) {
    if (error || info.name != word || info.type == "table") continue;
    if (info.section == &sections::file) {
      error = usage(quoted(word) + " has no path", "it is " + info.range);
    } else if (std::string hint = such_as(*info.section, word); !hint.empty()) {
      error = usage("no key of [gap] is called " + quoted(word), hint);
    }
  }
  return error;
}

Result<toml::table*> toolhead_of(const KeyPath& path, toml::table& file) {
  const std::string_view key = sections::toolhead.of(&Toolhead::name).name;
  std::vector<std::string> known;
  for (toml::table* table : list(file, sections::toolhead.name)) {
    const std::string name = (*table)[key].value_or(std::string());
    if (name == path.name) return table;
    known.push_back(name);
  }
  return usage("there is no toolhead " + quoted(path.name), suggest(path.name, known));
}

toml::table* filament_of(const KeyPath& path, toml::table& file) {
  const std::string_view key = sections::filament.of(&Filament::tool).name;
  const int tool = tool_in(path.name).value_or(0);
  for (toml::table* table : list(file, sections::filament.name)) {
    if ((*table)[key].value<int>() == tool) return table;
  }
  if (!file.contains(sections::filament.name)) {
    file.insert(sections::filament.name, toml::array());
  }
  toml::array* array = file.get_as<toml::array>(sections::filament.name);
  if (array == nullptr) return nullptr;
  array->push_back(toml::table{{key, tool}});
  return array->back().as_table();
}

}  // namespace

Result<toml::table*> table_of(const KeyPath& path, toml::table& file) {
  const SectionInfo* const section = path.key.section;
  if (section == &sections::filament) return filament_of(path, file);
  if (section == &sections::material) return child(child(&file, section->name), path.name);
  if (section == &sections::toolhead) return toolhead_of(path, file);
  if (section == &sections::heater) {
    auto head = toolhead_of(path, file);
    return head ? Result(child(*head, section->name)) : std::move(head);
  }
  return child(&file, section->name);
}

toml::table value_of(const std::string& text) {
  if (!too_deep(text)) {
    try {
      toml::table parsed = toml::parse("v = " + text);
      if (parsed.size() == 1) return parsed;
    } catch (const toml::parse_error&) {  // a word, most likely
    }
  }
  return toml::table{{"v", text}};
}

Status apply(const Setting& setting, toml::table& file) {
  const auto path = parse_path(setting.path);
  if (!path) return path.error();
  auto table = table_of(*path, file);
  if (!table) return std::move(table.error());
  toml::table* into = *table;
  std::string_view key = path->key.name;
  if (!path->axis.empty()) {
    into = child(into, key);
    key = path->axis;
  }
  if (into == nullptr) return success();  // loading says so
  // Copies have no place in the file.
  value_of(setting.value).get("v")->visit([&](const auto& v) { into->insert_or_assign(key, v); });
  return success();
}

Result<KeyPath> parse_path(std::string_view path) {
  const std::vector<KeyInfo> all = all_keys();
  std::string_view rest = path;
  const SectionInfo* section = &sections::gap;
  if (path.find('.') != std::string_view::npos) {
    const std::string_view word = first_part(rest);
    std::vector<std::string_view> known;
    section = nullptr;
    for_each_section([&](const auto& s) {
      if (!has_path(s)) return;
      known.push_back(s.name);
      if (s.name == word) section = &s;
    });
    if (section == nullptr) {
      bool there = false;
      for_each_section(
          [&](const auto& s) { there = there || (!s.name.empty() && s.name == word); });
      return usage("no section with paths is called " + quoted(word),
                   there ? kNoNameInside : suggest(word, known));
    }
  }

  KeyPath out;
  std::string_view key = last_part(rest);
  if (is_axis(key) && !rest.empty()) {
    out.axis = key;
    key = last_part(rest);
  }
  const bool named = section->shape != Shape::one;
  if (section == &sections::toolhead && (rest == "heater" || rest.ends_with(".heater"))) {
    last_part(rest);
    section = &sections::heater;
  }
  if (named && rest.empty()) {
    return usage(quoted(path) + " does not say which " +
                     std::string(section == &sections::heater ? "toolhead" : section->name),
                 section == &sections::filament   ? "such as filament.T0.standby_c"
                 : section == &sections::material ? "such as material.PLA.standby_c"
                                                  : "such as toolhead.ash.park_s");
  }
  if (!named && !rest.empty()) {
    return usage(quoted(path) + " has too many parts",
                 "such as " + std::string(section->name) + '.' + std::string(key));
  }
  if (section == &sections::filament && !tool_in(rest)) {
    return usage(quoted(rest) + " is no T number", "such as filament.T0.standby_c");
  }
  out.name = rest;

  std::vector<std::string_view> known;
  for (const KeyInfo& info : all) {
    if (info.section != section || info.type == "table") continue;
    known.push_back(info.name);
    if (info.name == key) out.key = info;
  }
  if (out.key.section == nullptr) {
    if (path == key) {
      if (auto error = not_of_gap(key, all)) return *error;
    }
    return usage("no key of " + std::string(section->header) + " is called " + quoted(key),
                 suggest(key, known));
  }
  if (!out.axis.empty() && !out.key.type.starts_with("table of")) {
    return usage(std::string(key) + " has no axes");
  }
  return out;
}

std::optional<Setting> parse_setting(std::string_view text) {
  const auto trimmed = [](std::string_view word) {
    constexpr std::string_view kBlanks = " \t";
    const std::size_t from = word.find_first_not_of(kBlanks);
    if (from == std::string_view::npos) return std::string();
    return std::string(word.substr(from, word.find_last_not_of(kBlanks) - from + 1));
  };
  const std::size_t equals = text.find('=');
  if (equals == std::string_view::npos) return std::nullopt;
  Setting out{trimmed(text.substr(0, equals)), trimmed(text.substr(equals + 1))};
  if (out.path.empty() || out.value.empty()) return std::nullopt;
  return out;
}

namespace {

// What was set for a material that no filament has would do nothing, and a slip would go unseen.
Status check_materials(std::span<const Setting> settings, const Rules& rules) {
  for (const Setting& s : settings) {
    const auto path = parse_path(s.path);
    if (!path || path->key.section != &sections::material) continue;
    std::vector<std::string> known;
    for (const Filament& f : rules.filaments) {
      if (!f.material.empty()) known.push_back(f.material);
    }
    std::sort(known.begin(), known.end());
    known.erase(std::unique(known.begin(), known.end()), known.end());
    if (std::find(known.begin(), known.end(), path->name) != known.end()) continue;
    return usage(
        s.path + " = " + s.value + ": no filament has the material " + quoted(path->name),
        known.empty() ? "filament.T0.material gives it to a filament" : suggest(path->name, known));
  }
  return success();
}

}  // namespace

Result<Rules> load(std::string_view text, const std::string& name,
                   std::span<const Setting> settings) {
  const auto with_first = [&](std::size_t count) {
    return load_edited(text, name, [&](toml::table& file) {
      for (const Setting& s : settings.first(count)) {
        if (auto status = apply(s, file); !status) return status;
      }
      return success();
    });
  };
  auto rules = with_first(settings.size());
  if (rules) {
    if (auto fits = check_materials(settings, *rules); !fits) return std::move(fits.error());
    std::string all(text);
    for (const Setting& s : settings) {
      rules->settings.push_back(s.path + " = " + s.value);
      all += '\n' + rules->settings.back();
    }
    if (!settings.empty()) rules->hash = XXH3_64bits(all.data(), all.size());
    return rules;
  }
  // The first that makes a wrong file is the one to name; the file itself may be wrong, too.
  for (std::size_t count = 0;; ++count) {
    rules = with_first(count);
    if (rules) continue;
    // cppcheck-suppress identicalConditionAfterEarlyExit  // it takes the loop's for the one above
    if (count == 0) return rules;
    const Setting& s = settings[count - 1];
    return usage(s.path + " = " + s.value + ": " + rules.error().message, rules.error().hint);
  }
}

}  // namespace forewarm::rules
