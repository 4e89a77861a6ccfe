#include "rules/set_values.h"

#include "rules_test_help.h"

using namespace forewarm;
using namespace forewarm::rules;
using namespace forewarm::test;

namespace {

std::string put(const std::string& text, const std::vector<Setting>& settings) {
  auto changed = with_values(text, "rules.toml", settings);
  if (!changed) return render(changed.error());
  // It loads, and says what the file with these settings says.
  const auto rules = load(*changed, "rules.toml");
  REQUIRE(rules);
  // The same again changes nothing.
  const auto again = with_values(*changed, "rules.toml", settings);
  REQUIRE(again);
  CHECK(*again == *changed);
  return *changed;
}

// `text` has what is to go in [-...-] and what is to come in {+...+}.
void check_change(const std::string& text, const std::vector<Setting>& settings) {
  std::string before, after;
  for (std::size_t i = 0; i < text.size();) {
    const bool gone = text.compare(i, 2, "[-") == 0, come = text.compare(i, 2, "{+") == 0;
    if (!gone && !come) {
      before += text[i];
      after += text[i++];
      continue;
    }
    const std::size_t end = text.find(gone ? "-]" : "+}", i);
    (gone ? before : after) += text.substr(i + 2, end - i - 2);
    i = end + 2;
  }
  INFO(before);
  CHECK(put(before, settings) == after);
}

const std::string kHead = "version = 1\n[[toolhead]]\nname = \"ash\"\ntools = [0]\n";

}  // namespace

TEST_CASE("set values: in inline tables, comments and layout stay") {
  check_change(kHead +
                   "heater = { power_w=50,full_drive_c   =  [-450-]{+431.5+} , "
                   "time_constant_s = [-18_0-]{+176+} } # measured\n",
               {{"toolhead.ash.heater.full_drive_c", "431.5"},
                {"toolhead.ash.heater.time_constant_s", "176"}});
  check_change(kHead +
                   "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180{+, "
                   "dead_time_s = 2.5+} }\n",
               {{"toolhead.ash.heater.dead_time_s", "2.5"}});
}

TEST_CASE("set values: in tables of their own, by name, with CR, tabs and other heads between") {
  check_change(
      "# \xc3\xa9t\xc3\xa9\r\nversion = 1\r\n[[toolhead]]\r\nname = \"ash\"\r\ntools = [0]\r\n"
      "[toolhead.heater] # its own\r\n\tpower_w = 50\r\n\tfull_drive_c = 450 # then\r\n"
      "\ttime_constant_s = 180\r\n\r\n[[toolhead]]\r\nname = 'birch # 2'\r\ntools = [1]\r\n"
      "[toolhead.heater]\r\n\tpower_w = 50\r\n\tfull_drive_c = [-4.5e2-]{+431+}# now\r\n"
      "\ttime_constant_s = 180 # last\r\n{+\tdead_time_s = 3\r\n+}\r\n[gap]\r\n",
      {{"toolhead.birch # 2.heater.full_drive_c", "431"},
       {"toolhead.birch # 2.heater.dead_time_s", "3"}});
}

TEST_CASE("set values: what the file has no section for comes at its end") {
  const std::string file =
      kHead + "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }";
  check_change(file + "{+\n\n[machine]\nambient_c = 24\n+}", {{"machine.ambient_c", "24"}});
  check_change(file + "\n[machine]{+\nambient_c = 24\n+}", {{"machine.ambient_c", "24"}});
  check_change(file + "\n[machine]\n# nothing yet\n[gap]\n{+policy = \"hold\"\n+}",
               {{"gap.policy", "hold"}});
  check_change(file + "\n[machine]\nname = \"a # b\" # c\n{+ambient_c = 24\n+}\n[gap]\n",
               {{"machine.ambient_c", "24"}});
}

TEST_CASE("set values: words, texts and arrays are replaced whole") {
  check_change(
      kHead +
          "heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }\n"
          "[gap]\npolicy = [-'timers'-]{+\"hold\"+} # so\noff_over_s = [-\"best\"-]{+600+}\n"
          "[dialect]\njob_end = [-[ \"a ] # b\",\n  'c' ]-]{+[\"M300\"]+}\nset = [-\"\"\"M104 "
          "T{tool} S{temp}\"\"\"-]{+\"M104 P{heater} S{temp}\"+}\n",
      {{"gap.policy", "hold"},
       {"gap.off_over_s", "600"},
       {"dialect.job_end", "[\"M300\"]"},
       {"dialect.set", "\"M104 P{heater} S{temp}\""}});
}

TEST_CASE("set values: every number of the demo, one at a time, changes one line") {
  const std::string demo = file("config/demo.toml");
  int changed = 0;
  for (const char* path :
       {"machine.ambient_c", "motion.time_scale", "toolhead.ash.heater.full_drive_c",
        "toolhead.birch.heater.full_drive_c", "toolhead.cedar.heater.dead_time_s",
        "toolhead.birch.park_s", "toolhead.birch.exchange_s", "material.PLA.max_hot_idle_s",
        "filament.T2.standby_c", "gap.time_error", "feeder.fault_odds", "record.stop_s"}) {
    CAPTURE(path);
    const std::string after = put(demo, {{path, "0.25"}});
    if (after.starts_with("rules.toml") || after.find('\n') == std::string::npos) continue;
    if (after.size() < demo.size() / 2) continue;  // out of range: refused
    ++changed;
    std::size_t lines = 0, at = 0, other = 0;
    while (at < demo.size()) {
      const std::size_t end = demo.find('\n', at), other_end = after.find('\n', other);
      lines += demo.substr(at, end - at) != after.substr(other, other_end - other) ? 1U : 0U;
      at = end + 1;
      other = other_end + 1;
    }
    CHECK(lines == 1);
    CHECK(other == after.size());
  }
  CHECK(changed >= 9);
}

TEST_CASE("set values: what cannot be done is refused, and says how") {
  const std::string heater = "power_w = 50\nfull_drive_c = 450\ntime_constant_s = 180\n";
  // Dotted keys have no table to add to.
  CHECK(
      put(kHead + "heater.power_w = 50\nheater.full_drive_c = 450\nheater.time_constant_s = 180\n",
          {{"toolhead.ash.heater.dead_time_s", "2"}}) ==
      "rules.toml: toolhead.ash.heater.dead_time_s cannot be put into this file as it is laid "
      "out\n  hint: write toolhead.ash.heater.dead_time_s = 2 there by hand");
  const std::string good = kHead + "[toolhead.heater]\n" + heater;
  CHECK(
      put(good, {{"toolhead.elm.heater.dead_time_s", "2"}}) ==
      "toolhead.elm.heater.dead_time_s = 2: there is no toolhead \"elm\"\n  hint: known here: ash");
  CHECK(put(good, {{"toolhead.ash.heater.dead_time", "2"}})
            .starts_with("toolhead.ash.heater.dead_time = 2: no key of heater is called"));
  CHECK(put(good, {{"toolhead.ash.heater.full_drive_c", "2"}})
            .starts_with("toolhead.ash.heater.full_drive_c = 2: full_drive_c must be more than "
                         "machine.ambient_c"));
  CHECK(put("version = 2\n", {{"machine.ambient_c", "2"}})
            .starts_with("rules.toml:1:11: version must be 1, not 2"));
  // But what they say already can be changed.
  check_change(kHead +
                   "heater.power_w = 50\nheater.full_drive_c = [-450-]{+440+}\n"
                   "heater.time_constant_s = 180\n",
               {{"toolhead.ash.heater.full_drive_c", "440"}});
}
