// What every key of a rule file has in common, tried with every key of the table.
#include "rules/keys.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <map>
#include <set>

#include "rules/key_info.h"
#include "rules/words.h"
#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::test;
using namespace forewarm::rules;

namespace {

// Where the values of a section are, in a file with one of each.
const Machine& in(const Rules& r, const Section<Machine>&) { return r.machine; }
const Motion& in(const Rules& r, const Section<Motion>&) { return r.motion; }
const Feeder& in(const Rules& r, const Section<Feeder>&) { return r.feeder; }
const AttentionSettings& in(const Rules& r, const Section<AttentionSettings>&) {
  return r.attention;
}
const Toolhead& in(const Rules& r, const Section<Toolhead>&) { return r.toolheads.at(0); }
const Filament& in(const Rules& r, const Section<Filament>& s) {
  return &s == &sections::material ? r.materials.at(0) : r.filaments.at(0);
}
const GapSettings& in(const Rules& r, const Section<GapSettings>&) { return r.gap; }
const Step& in(const Rules& r, const Section<Step>&) { return r.steps.at(0).steps.at(0); }
const Dialect& in(const Rules& r, const Section<Dialect>&) { return r.dialect; }
const Recognise& in(const Rules& r, const Section<Recognise>&) { return r.recognise.at(0); }
const Duration& in(const Rules& r, const Section<Duration>&) { return r.durations.at(0); }
const RecordSettings& in(const Rules& r, const Section<RecordSettings>&) { return r.record; }
const Observe& in(const Rules& r, const Section<Observe>&) { return r.observe.at(0); }
const Rules& in(const Rules& r, const Section<Rules>&) { return r; }

std::map<std::string_view, KeyInfo> infos(const SectionInfo& section) {
  std::map<std::string_view, KeyInfo> out;
  for (const KeyInfo& info : all_keys()) {
    if (info.section == &section) out.emplace(info.name, info);
  }
  return out;
}

std::string name_in_messages(const SectionInfo& section) {
  if (section.shape == SectionInfo::Shape::named) return "[material.X]";
  return section.shape == SectionInfo::Shape::sequences ? "a step" : std::string(section.header);
}

// A rule file as small as it can be around one line of one section; the line comes last but for
// `after`. What else is needed are the examples of the required keys.
struct Around {
  std::string before, after;
};

template <class S>
std::string others(const Section<S>& section, std::string_view but) {
  std::string out;
  for (const auto& [name, info] : infos(section)) {
    if (info.required && name != but) out += info.example + '\n';
  }
  return out;
}

// What a key does not go without.
std::string companion_of(std::string_view key) {
  if (key == "approach_c") return "reached_c = 1\n";
  if (key == "wait_window_c") return "wait = \"AWAIT T{tool} S{temp} L{least}\"\n";
  return "";
}

template <class S>
Around around(const Section<S>& section, std::string_view key) {
  namespace s = sections;
  std::string file = "version = 1\n";
  const SectionInfo* const here = &section;
  std::string head = "[[toolhead]]\n";
  if (here == &s::toolhead) return {file + head + others(s::toolhead, key), "\n"};
  if (here == &s::heater) {
    return {file + head + others(s::toolhead, "heater") + "[toolhead.heater]\n" +
                others(s::heater, key) + companion_of(key),
            "\n"};
  }
  file += head + others(s::toolhead, "");
  switch (section.shape) {
    case SectionInfo::Shape::one:
      file += "[" + std::string(section.name) + "]\n";
      break;
    case SectionInfo::Shape::list:
      file += "[[" + std::string(section.name) + "]]\n";
      break;
    case SectionInfo::Shape::named:
      file += "[" + std::string(section.name) + ".X]\n";
      break;
    case SectionInfo::Shape::sequences: {
      const bool speed = key == "speed_mm_s", seconds = key == "seconds";
      const char* action = speed                 ? "feed_mm = 1, "
                           : seconds             ? "gcode = \"M400\", "
                           : key == "at_most_mm" ? "make_up_mm_per_min = 1, "
                                                 : "";
      return {file + "[steps]\na = [ { " + action, " } ]\n"};
    }
    default:
      break;
  }
  return {file + others(section, key) + companion_of(key), "\n"};
}

// Calls visit(section, key, info) with each key but the version and the sections themselves.
template <class Visit>
void for_each_key(Visit visit) {
  for_each_section([&](const auto& section) {
    if (section.shape == SectionInfo::Shape::file) return;
    const auto described = infos(section);
    for (const auto& key : section.keys) {
      INFO(section.header << ' ' << key.name);
      visit(section, key, described.at(key.name));
    }
  });
}

// What is said of `text`, a value, in place of `key`.
struct Placed {
  Around file;
  std::string key, value;
  [[nodiscard]] std::string text() const { return file.before + key + " = " + value + file.after; }
  [[nodiscard]] Result<Rules> load() const { return rules::load(text(), "rules.toml"); }
  // The message that should come of it, `into` characters within the value; or a hint besides.
  [[nodiscard]] std::string expected(const std::string& message, std::size_t into = 0,
                                     const std::string& hint = "") const {
    const auto lines = std::count(file.before.begin(), file.before.end(), '\n');
    const std::string begun = file.before.substr(file.before.rfind('\n') + 1);
    const std::size_t column = characters(begun + key + " = ") + into;
    const std::string line =
        begun + key + " = " + value + file.after.substr(0, file.after.find('\n'));
    return "rules.toml:" + std::to_string(lines + 1) + ':' + std::to_string(column + 1) + ": " +
           message + "\n  " + line + "\n  " + std::string(column, ' ') + '^' +
           (hint.empty() ? "" : "\n  hint: " + hint);
  }
};

template <class S>
Placed placed(const Section<S>& section, std::string_view key, const std::string& value) {
  return {around(section, key), std::string(key), value};
}

// "park_s must be from 0 to 86400, not -1" of each value that is out of range.
template <class S>
void check_limits(const Section<S>& section, const std::string& key, const std::string& what,
                  const Limits& limits, const std::string& before, const std::string& after) {
  std::vector<double> wrong{std::nextafter(limits.high, 1e300), limits.high + 1, 1e300};
  if (limits.above_low) wrong.push_back(limits.low);
  for (const double below : {std::nextafter(limits.low, -1e300), limits.low - 1, -1e300}) {
    wrong.push_back(below);
  }
  for (const double value : wrong) {
    const Placed p = placed(section, key, before + text_of(value) + after);
    CHECK(refusal(p.text()) ==
          p.expected(what + ' ' + limits.text() + ", not " + text_of(value), before.size()));
  }
  for (const std::string odd : {"nan", "inf", "-inf"}) {
    const Placed p = placed(section, key, before + odd + after);
    CHECK(refusal(p.text()) ==
          p.expected(what + " must be a finite number, not " + odd, before.size()));
  }
  for (const auto& [value, kind] : std::map<std::string, std::string>{
           {"true", "a boolean"}, {"[1]", "an array"}, {"{}", "a table"}, {"\"7\"", "a string"}}) {
    const Placed p = placed(section, key, before + value + after);
    if (const auto& k = *section.find(key);
        k.number() && !k.number()->word.empty() && value[0] == '"') {
      CHECK(refusal(p.text()) == p.expected(what + " must be a number or \"" +
                                            std::string(k.number()->word) + "\", not " + value));
      continue;
    }
    CHECK(refusal(p.text()) == p.expected(what + " must be a number, not " + kind, before.size()));
  }
}

}  // namespace

TEST_CASE("the table: names are unique, documented, and tell their unit") {
  for_each_section([](const auto& section) {
    INFO(section.header);
    CHECK(section.doc.ends_with('.'));
    std::set<std::string_view> names;
    for (const auto& key : section.keys) {
      INFO(key.name);
      CHECK(names.insert(key.name).second);
      CHECK(section.find(key.name) == &key);
      if (section.shape == SectionInfo::Shape::file) continue;
      CHECK(key.doc.size() > 10);
      CHECK((key.doc.ends_with('.') &&
             std::isupper(key.doc.front()) + key.doc.starts_with("true") > 0));
    }
    CHECK(section.find("nothing") == nullptr);
  });
  // The sections of a file are those of the table.
  std::vector<std::string_view> parts, all;
  for (const auto& key : sections::file.keys) {
    const auto* part = std::get_if<Part>(&key.value);
    if (part == nullptr) continue;
    CHECK(part->section->name == key.name);
    parts.push_back(key.name);
  }
  for_each_section([&](const auto& section) {
    const bool top =
        section.shape != SectionInfo::Shape::file && section.shape != SectionInfo::Shape::part;
    if (top) all.push_back(section.name);
  });
  CHECK(parts == all);

  const std::map<std::string_view, std::string_view> units{
      {"park_s", "seconds"},
      {"seconds", "seconds"},
      {"max_c", "degrees Celsius"},
      {"travel_mm", "millimetres"},
      {"speed_mm_s", "millimetres a second"},
      {"accel_mm_s2", "millimetres per second squared"},
      {"max_flow_mm3_s", "cubic millimetres a second"},
      {"exchange_purge_mm3", "cubic millimetres"},
      {"density_g_cm3", "grams per cubic centimetre"},
      {"bed_w", "watts"},
      {"restart_cost", "currency"},
      {"hot_idle_cost_per_h", "currency per hour"},
      {"energy_cost_per_kwh", "currency per kilowatt-hour"},
      {"fault_odds", ""},
      {"tools", ""},
  };
  for (const auto& [key, unit] : units) CHECK(unit_of(key) == unit);
}

TEST_CASE("each key's example loads") {
  for_each_key([](const auto& section, const auto& key, const KeyInfo& info) {
    const std::string value = info.example.substr(key.name.size() + 3);
    const Placed p = placed(section, key.name, value);
    INFO(p.text());
    std::string rest;
    if (info.range == "a sequence of [steps]") {
      rest = "[steps]\n" + value.substr(1, value.size() - 2) + " = []\n";
    }
    if (value == "[\"cedar\"]") {
      rest =
          "[[toolhead]]\nname = \"cedar\"\ntools = [7]\nheater = { power_w = 50, full_drive_c = "
          "450, "
          "time_constant_s = 180 }\n";
    }
    const auto loaded = rules::load(p.text() + rest, "rules.toml");
    if (!loaded) FAIL(render(loaded.error()));
  });
}

TEST_CASE("each number: its range, and its field, which is no other's") {
  // Values within their range that another key has a word against.
  std::set<std::string> against;
  for_each_key([&](const auto& section, const auto& key, const KeyInfo& info) {
    if (info.type != "number") return;
    const std::string name(key.name);
    const Limits limits = *info.limits;
    check_limits(section, name, name, limits, "", "");
    const double lowest = limits.above_low ? std::nextafter(limits.low, 1e300) : limits.low;
    for (const double value : {lowest, limits.high}) {
      const Placed p = placed(section, name, text_of(value));
      const auto loaded = p.load();
      if (!loaded) {
        const std::string& says = loaded.error().message;
        CHECK(says.find(limits.text()) == std::string::npos);
        against.insert(std::string(section.header) + ' ' + name +
                       (value == lowest ? " low: " : " high: ") + says);
      }
    }
    const auto* number = key.number();
    if (number == nullptr) return;  // of a step: see there
    // A value near the usual one, which no other key has a word against.
    const double usual = std::stod(info.example.substr(name.size() + 3));
    const double value = usual + (limits.high - usual) * 1e-6;
    const Placed p = placed(section, name, text_of(value));
    const auto loaded = p.load();
    if (!loaded) FAIL(render(loaded.error()));
    const auto& section_read = in(*loaded, section);
    CHECK(number->get(section_read) == value);
    const auto plain =
        rules::load(around(section, name).before + (key.required ? info.example : std::string()) +
                        around(section, name).after,
                    "rules.toml");
    for (const auto& other : section.keys) {
      if (other.number() == nullptr || &other == &key || !plain) continue;
      INFO(other.name);
      CHECK(other.number()->get(section_read) == other.number()->get(in(*plain, section)));
    }
  });
  CHECK(
      against ==
      std::set<std::string>{
          "[[filament]] exchange_c high: exchange_c = 1000 is above max_c of \"ash\", which is 300",
          "[[filament]] standby_c high: standby_c = 1000 is above max_c of \"ash\", which is 300",
          "[dialect] wait_window_c low: wait_window_c must be over 0 where wait has {least}",
          "[machine] heating_limit_w low: power_w = 50 of \"ash\" alone is more than "
          "machine.heating_limit_w, which is 5e-324",
          "heater full_drive_c low: full_drive_c must be more than machine.ambient_c, which is 23, "
          "not 5e-324",
          "heater max_c low: max_c must be more than machine.ambient_c, which is 23, not 0",
      });
}

TEST_CASE("each key that is no number refuses what is none of its kind") {
  for_each_key([](const auto& section, const auto& key, const KeyInfo& info) {
    const std::map<std::string, std::string> meant{
        {"number", "a number"},
        {"whole number", "a whole number"},
        {"true or false", "true or false"},
        {"true", "true or false"},
        {"string", "a string"},
        {"string, or array of strings", "a string or an array of strings"},
        {"array of strings", "an array of strings"},
        {"table of numbers for x, y, z and e", "a table"},
        {"table of numbers for x, y and z", "a table"},
        {"table of arrays [lowest, highest]", "a table"},
        {"array of whole numbers", "an array of T numbers or \"seen\""},
        {"array of whole numbers and strings", "an array of T numbers and names of toolheads"},
        {"table", "a table"},
    };
    const Placed p = placed(section, key.name, "1979-05-27");
    CHECK(refusal(p.text()) ==
          p.expected(std::string(key.name) + " must be " + meant.at(info.type) + ", not a date"));
  });
}

TEST_CASE("each key is missed where it is required, and near where it is misspelled") {
  for_each_key([](const auto& section, const auto& key, const KeyInfo& info) {
    const Around file = around(section, key.name);
    const std::string where = name_in_messages(section);
    if (info.required) {
      const std::string says = refusal(file.before + file.after);
      INFO(says);
      CHECK(says.find(where + " needs \"" + std::string(key.name) + '"') != std::string::npos);
      const std::string hint = key.hint.empty() ? "" : "\n  hint: " + std::string(key.hint);
      CHECK(says.ends_with("^" + hint));
    }
    Placed p{file, std::string(key.name) + "x", "1"};
    const std::string says = refusal(p.text());
    const auto lines = std::count(file.before.begin(), file.before.end(), '\n');
    CHECK(says.find("rules.toml:" + std::to_string(lines + 1) + ':') == 0);
    CHECK(says.find("unknown key \"" + p.key + "\" in " + where + "\n") != std::string::npos);
    CHECK(says.ends_with("hint: did you mean \"" + std::string(key.name) + "\"?"));
  });
}

TEST_CASE("a key that is near to none is answered with the keys of its section") {
  for_each_section([](const auto& section) {
    using Shape = SectionInfo::Shape;
    if (section.shape == Shape::file || section.shape == Shape::sequences) return;
    INFO(section.header);
    std::string known;
    for (const auto& key : section.keys) {
      if (known.size() > 300) break;
      known += (known.empty() ? "" : ", ") + std::string(key.name);
    }
    const Placed p = placed(section, std::string(30, 'q'), "1");
    CHECK(refusal(p.text()).ends_with("^\n  hint: known here: " + known));
  });
}

TEST_CASE("each text that is copied into jobs is fit to be") {
  for_each_key([](const auto& section, const auto& key, const KeyInfo&) {
    using S = std::remove_cvref_t<decltype(in(std::declval<Rules>(), section))>;
    const auto* text = std::get_if<Text<S>>(&key.value);
    const auto* action = std::get_if<StepAction>(&key.value);
    const bool line = action != nullptr && action->takes == StepAction::Takes::line;
    if (text == nullptr && !line) return;
    const std::string name(key.name);
    if (line || text->rule == TextRule::name || text->rule == TextRule::pattern) {
      const Placed p = placed(section, name, "\"\"");
      CHECK(refusal(p.text()) == p.expected(name + " must not be empty"));
    }
    if (!line && text->rule == TextRule::pattern) return;
    for (const char* bad : {R"("a\nb")", R"("a\u0085b")", R"("\u007f")", R"("\t")"}) {
      const Placed p = placed(section, name, bad);
      CHECK(refusal(p.text()) ==
            p.expected(name + " must not contain line ends or other control characters"));
    }
    const Placed p = placed(section, name, "\"a ;fw+ b\"");
    CHECK(refusal(p.text()) ==
          p.expected(name +
                     " must not contain \";fw\", which marks the lines that rewriting inserts"));
  });
}

TEST_CASE("each choice takes its words and no other") {
  for_each_key([](const auto& section, const auto& key, const KeyInfo& info) {
    using S = std::remove_cvref_t<decltype(in(std::declval<Rules>(), section))>;
    const auto* choice = std::get_if<Choice<S>>(&key.value);
    if (choice == nullptr) return;
    const std::string name(key.name);
    std::set<int> values;
    for (const Word& word : info.words) {
      CHECK(word.doc.ends_with('.'));
      CHECK(values.insert(word.value).second);
      Placed p = placed(section, name, '"' + std::string(word.name) + '"');
      if (name == "as") {
        p.file.before.replace(p.file.before.find("match = "), std::string::npos,
                              "match = '(?P<tool>a)(?P<temp>b)(?P<number>c)(?P<what>d)'\n");
      }
      const auto loaded = p.load();
      if (!loaded) FAIL(render(loaded.error()));
      CHECK(choice->get(in(*loaded, section)) == word.value);
      // A slip, and a word that is none.
      p.value = '"' + std::string(word.name) + "x\"";
      CHECK(refusal(p.text()) == p.expected("unknown " + name + ' ' + p.value, 0,
                                            "did you mean \"" + std::string(word.name) + "\"?"));
    }
    const Placed p = placed(section, name, "\"zzzzzzzzzzzzzzzzzzzz\"");
    std::string all;
    for (const Word& word : info.words) all += (all.empty() ? "" : ", ") + std::string(word.name);
    CHECK(refusal(p.text()) ==
          p.expected("unknown " + name + ' ' + p.value, 0, "known here: " + all));
  });
}

TEST_CASE("each table of axes: their numbers, and no other axis") {
  int tables = 0;
  for_each_key([&](const auto& section, const auto& key, const KeyInfo& info) {
    const bool four = info.type == "table of numbers for x, y, z and e";
    if (!four && info.type != "table of numbers for x, y and z") return;
    ++tables;
    const std::string name(key.name);
    for (const char axis : std::string(four ? "xyze" : "xyz")) {
      const std::string before = std::string("{ ") + axis + " = ";
      check_limits(section, name, std::string(1, axis), *info.limits, before, " }");
    }
    const Placed p = placed(section, name, "{ u = 1 }");
    CHECK(refusal(p.text()) == p.expected("unknown key \"u\" in " + name, 2,
                                          four ? "known here: x, y, z, e" : "known here: x, y, z"));
  });
  CHECK(tables == 4);
}

TEST_CASE("each table of spans: from lower to higher") {
  int tables = 0;
  for_each_key([&](const auto& section, const auto& key, const KeyInfo& info) {
    if (info.type != "table of arrays [lowest, highest]") return;
    ++tables;
    const std::string name(key.name);
    for (const char axis : {'x', 'y'}) {
      const std::string other = std::string(1, axis == 'x' ? 'y' : 'x') + " = [0, 1], ";
      const auto with = [&](const std::string& span) {
        return placed(section, name, "{ " + other + axis + " = " + span + " }");
      };
      const std::size_t at = 2 + other.size() + 4;
      const std::string says(1, axis);
      for (const char* span : {"320", "[]", "[1]", "[0, 1, 2]", "{}", "\"0\""}) {
        const Placed p = with(span);
        CHECK(refusal(p.text()) ==
              p.expected(says + " must be an array of two numbers, lowest and highest", at));
      }
      for (const auto& [low, high] :
           {std::pair<std::string, std::string>{"320", "0"}, {"5", "5"}}) {
        const Placed p = with("[" + low + ", " + high + "]");
        CHECK(refusal(p.text()) ==
              p.expected(says + " must go from lower to higher, not " + low + " to " + high, at));
      }
      Placed p = with("[0, \"320\"]");
      CHECK(refusal(p.text()) == p.expected(says + " must be a number, not a string", at + 4));
      p = with("[-inf, 1]");
      CHECK(refusal(p.text()) == p.expected(says + " must be a finite number, not -inf", at + 1));
      p = with("[0, 1000001]");
      CHECK(refusal(p.text()) ==
            p.expected(says + " must be from -1000000 to 1000000, not 1000001", at + 4));
    }
  });
  CHECK(tables == 2);
}

TEST_CASE("each whole number is one from 0 to 65535") {
  int keys = 0;
  for_each_key([&](const auto& section, const auto& key, const KeyInfo& info) {
    if (info.type != "whole number") return;
    ++keys;
    const std::string name(key.name);
    for (const std::string value : {"-1", "65536", "9223372036854775807"}) {
      const Placed p = placed(section, name, value);
      CHECK(refusal(p.text()) == p.expected(name + " must be from 0 to 65535, not " + value));
    }
    for (const auto& [value, kind] : std::map<std::string, std::string>{
             {"1.0", "a float"}, {"\"T1\"", "a string"}, {"true", "a boolean"}}) {
      const Placed p = placed(section, name, value);
      CHECK(refusal(p.text()) == p.expected(name + " must be a whole number, not " + kind));
    }
  });
  CHECK(keys == 3);
}

TEST_CASE("a section that is no table, or a table where a list is meant") {
  for_each_section([](const auto& section) {
    if (section.shape == SectionInfo::Shape::part || section.shape == SectionInfo::Shape::file)
      return;
    INFO(section.header);
    const std::string name(section.name);
    const bool list = section.shape == SectionInfo::Shape::list;
    const std::string toolhead =
        name == "toolhead" ? "" : "[[toolhead]]\n" + others(sections::toolhead, "");
    const auto says = [&](const std::string& text) {
      return refusal("version = 1\n" + text + toolhead);
    };
    CHECK(says(name + " = 1\n") == "rules.toml:2:" + std::to_string(name.size() + 4) + ": " + name +
                                       " must be " + (list ? "an array of tables" : "a table") +
                                       ", not an integer\n  " + name + " = 1\n  " +
                                       std::string(name.size() + 3, ' ') + '^');
    if (list) {
      CHECK(says('[' + name + "]\n") == "rules.toml:2:1: " + name +
                                            " must be an array of tables, not a table\n  [" + name +
                                            "]\n  ^\n  hint: write [[" + name + "]]");
      CHECK(says(name + " = [3]\n") == "rules.toml:2:" + std::to_string(name.size() + 5) + ": " +
                                           name + " must hold tables, not an integer\n  " + name +
                                           " = [3]\n  " + std::string(name.size() + 4, ' ') + '^');
    } else {
      CHECK(says("[[" + name + "]]\n") == "rules.toml:2:1: " + name +
                                              " must be a table, not an array of tables\n  [[" +
                                              name + "]]\n  ^");
    }
    const std::string slip = name + "x";
    const std::string message = says("[" + slip + "]\n");
    CHECK(message == "rules.toml:2:2: unknown key \"" + slip + "\" in the rule file\n  [" + slip +
                         "]\n   ^\n  hint: did you mean \"" + name + "\"?");
  });
}
