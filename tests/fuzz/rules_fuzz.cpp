// Bytes as a rule file. It loads, or is wrong at a place that is in it; what loads can be used.
#include <algorithm>
#include <cmath>

#include "fuzz_help.h"
#include "rules/load.h"
#include "rules/recogniser.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

// Of a sequence that something names, and so has to be there.
double fed_mm(const rules::Rules& r, const std::string& name) {
  const rules::Sequence* sequence = r.sequence(name);
  require((sequence == nullptr) == name.empty(), "a sequence that is named is there", name);
  double sum = 0;
  if (sequence == nullptr) return sum;
  for (const rules::Step& step : sequence->steps) {
    if (step.action == rules::Step::Action::feed) sum += step.amount;
  }
  return sum;
}

void check_values(const rules::Rules& r) {
  require(!r.toolheads.empty(), "there is a toolhead");
  const double ambient_c = r.machine.ambient_c;
  for (const rules::Toolhead& h : r.toolheads) {
    require(!h.name.empty() && control_in(h.name) == std::string_view::npos, "a name is fit",
            h.name);
    require(h.hotend.power_w > 0 && h.hotend.time_constant_s > 0 && h.hotend.dead_time_s >= 0 &&
                h.hotend.full_drive_c > ambient_c && h.hotend.ambient_c == ambient_c,
            "a heater is one");
    require(h.max_c > ambient_c && h.max_c <= 1000, "max_c is in its range");
    require(!h.max_flow_mm3_s || *h.max_flow_mm3_s > 0, "a flow is one");
    require(std::abs(fed_mm(r, h.before_park) + fed_mm(r, h.after_pick)) <= 1e-6,
            "what is pulled back is pushed forward", h.name);
    require(h.park_s >= 0 && h.pick_s >= 0 && h.exchange_s >= 0, "a machine takes its time");
    require(h.tools.empty() == r.toolhead_per_tool_seen, "a toolhead serves a tool, or any");
    for (const int tool : h.tools) {
      require(tool >= 0 && tool <= 65535, "a tool is in its range");
      require(r.toolhead_of(tool).has_value(), "each tool has a toolhead");
    }
  }
  for (const rules::Filament& f : r.filaments) {
    require(f.line > 0, "a filament has its place in the file");
    for (const rules::Places* places : {&f.never, f.only ? &*f.only : nullptr}) {
      if (places == nullptr) continue;
      for (const std::size_t h : places->heads) {
        require(h < r.toolheads.size() && !r.toolhead_per_tool_seen, "a place is a toolhead");
        require(places->name(-1, h), "a place names what is in it");
      }
      for (const int tool : places->tools) {
        require(r.toolhead_per_tool_seen || r.toolhead_of(tool).has_value(), "a place is a tool");
      }
    }
    require(f.density_g_cm3 > 0 && f.diameter_mm > 0 && f.max_hot_idle_s >= 0, "a filament is one");
    require(!f.exchange_c || (*f.exchange_c >= 0 && *f.exchange_c <= 1000), "exchange_c is one");
    fed_mm(r, f.before_exchange);
    fed_mm(r, f.after_exchange);
    fed_mm(r, f.at_last_use);
    require(r.filament(f.tool).tool == f.tool, "a filament is found by its tool");
  }
  for (const std::string* line : {&r.dialect.set, &r.dialect.wait}) {
    require(line->find("{temp}") != std::string::npos, "a command has a temperature", *line);
    require(line->find('\n') == std::string::npos, "a command is one line", *line);
  }
  for (const auto* lines : {&r.dialect.job_start, &r.dialect.job_end, &r.dialect.echo}) {
    for (const std::string& line : *lines) {
      require(line.find('\n') == std::string::npos, "a line is one", line);
      require(line.find(";fw") == std::string::npos, "a line cannot pass for a mark", line);
    }
  }
  const auto& m = r.motion;
  for (std::size_t a = 0; a < 4; ++a) {
    require(m.max_speed_mm_s[a] > 0 && m.max_accel_mm_s2[a] > 0 && m.jerk_mm_s[a] >= 0,
            "an axis can move");
  }
}

void use(const rules::Rules& r) {
  const auto recogniser = rules::Recogniser::make(r);
  require(recogniser.ok(), "patterns that were accepted compile again");
  std::vector<rules::Recognised> found;
  for (const std::string_view line : {"G1 X1 Y2 E.5", "M104 T1 S200", "CHANGE_TO 3", "WARM 1 210.5",
                                      "; level 4", "", "\xff\xc2\x9b"}) {
    std::optional<double> seconds;
    found.clear();
    recogniser->match(line, found, seconds);
    require(found.size() <= r.recognise.size(), "a pattern says one thing of a line", line);
    require(!seconds || (*seconds >= 0 && *seconds <= 86400), "a duration is in its range", line);
    for (const rules::Recognised& f : found) {
      require(!f.temp || (std::isfinite(*f.temp) && *f.temp >= 0), "a temperature is one", line);
      require(!f.tool || *f.tool >= 0, "a tool is one", line);
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text = text_of(data, size);
  const auto loaded = rules::load(text, "ru\x1bles.toml");
  if (loaded) {
    check_values(*loaded);
    use(*loaded);
    return 0;
  }
  const Error& e = loaded.error();
  require_fit(e, Error::Kind::rules);
  const auto lines = std::uint64_t(std::count(text.begin(), text.end(), '\n')) + 1;
  require(e.line >= 1 && e.line <= lines, "an error is at a line of the file", render(e));
  // Where the file ends too early, the parser counts the last line's ending, too.
  require(e.column <= characters(e.excerpt) + 3, "an error is at a column of its line", render(e));
  return 0;
}
