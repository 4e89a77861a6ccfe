// What must hold of a record's values, whatever its bytes are; shared by the targets of the two
// readers.
#pragma once

#include <cmath>
#include <string>

#include "fuzz_help.h"
#include "record/calibrate.h"
#include "rules/load.h"

namespace forewarm::fuzz {

// Digests all that a record says, and holds it against the contract of record.h.
class Watcher final : public record::Listener {
 public:
  record::StretchFinder finder;
  std::string said;
  record::Summary counted;

  void part(double from_s, std::uint64_t line) override {
    ++counted.parts;
    at_line(line);
    require(std::isfinite(from_s), "a time is finite");
    last_s_ = from_s;
    add("part", from_s, 0);
    finder.part(from_s, line);
  }
  void heater(const record::Heater& heater) override {
    require(++heaters_ <= record::kMostHeaters, "there are no more heaters than may be");
    said += heater.name + '\n';
    finder.heater(heater);
  }
  void sample(const record::Sample& s) override {
    ++counted.samples;
    in_part(s.time_s, s.line);
    require(s.heater < heaters_, "a heater is told before its samples");
    require(s.temp_c >= record::kColdestC && s.temp_c <= record::kHottestC,
            "a temperature is within bounds");
    require(!s.drive || (*s.drive >= 0 && *s.drive <= 1), "drive is from 0 to 1");
    require(!s.target_c || std::isfinite(*s.target_c), "a target is finite");
    add("sample", s.temp_c, s.drive.value_or(-1));
    finder.sample(s);
  }
  void echo(const record::Echo& e) override {
    ++counted.echoes;
    in_part(e.time_s, e.line);
    add(record::name_of(e.what), double(e.number), double(e.print));
    finder.echo(e);
  }
  void stop(const record::Stop& s) override {
    ++counted.stops;
    in_part(s.time_s, s.line);
    add("stop", s.goes_on ? 1 : 0, 0);
    finder.stop(s);
  }

 private:
  void at_line(std::uint64_t line) {
    require(line >= last_line_ && line > 0, "lines come in order");
    last_line_ = line;
  }
  void in_part(double time_s, std::uint64_t line) {
    at_line(line);
    require(counted.parts > 0, "whatever has a time is in a part");
    require(time_s >= last_s_, "within a part time does not go back");
    last_s_ = time_s;
  }
  void add(const char* what, double a, double b) {
    said += std::string(what) + ' ' + std::to_string(last_s_) + ' ' + std::to_string(a) + ' ' +
            std::to_string(b) + '\n';
  }

  std::size_t heaters_ = 0;
  std::uint64_t last_line_ = 0;
  double last_s_ = 0;
};

inline std::string check_record(std::string_view text, const std::string& name,
                                const rules::Rules& rules, std::size_t most) {
  TextSource source(text, most);
  Watcher watcher;
  auto summary = record::read(source, rules, {name, {}}, watcher);
  if (!summary) {
    require_fit(summary.error(), Error::Kind::refused);
    require(summary.error().file == name, "an error names the record");
    return render(summary.error());
  }
  require(summary->samples == watcher.counted.samples &&
              summary->echoes == watcher.counted.echoes &&
              summary->stops == watcher.counted.stops && summary->parts == watcher.counted.parts,
          "what is counted is what was told");
  // The fit takes long, and readings of a hundred samples tell as much of it as longer ones.
  if (summary->samples < 2000) {
    for (const record::Calibration& c :
         record::calibrate(watcher.finder.take(), {.ambient_c = 23, .robust = false})) {
      if (!c.refused.empty()) continue;
      require(std::isfinite(c.full_drive_c.value) && c.full_drive_c.value > 23 &&
                  std::isfinite(c.time_constant_s.value) && c.time_constant_s.value > 0 &&
                  c.dead_time_s.value >= 0 && std::isfinite(c.rms_c),
              "what is told of a heater could be one's");
    }
  }
  return watcher.said;
}

inline rules::Rules fuzz_rules(std::string_view text) {
  auto rules = rules::load(text, "rules.toml");
  if (!rules) broken("the rules of this target load", render(rules.error()));
  return *rules;
}

}  // namespace forewarm::fuzz
