#include "cli/mapping.h"

#include <charconv>

#include "check/moved.h"
#include "plan/assign_question.h"
#include "rules/recogniser.h"

namespace forewarm::cli {

namespace {

Error usage(const std::string& asked, const std::string& message, std::string hint = {}) {
  Error e{Error::Kind::usage, "--map " + printable(asked, 80) + ": " + message};
  e.hint = std::move(hint);
  return e;
}

constexpr const char* kForm = "write --map best, or --map 0=3,3=0: what is T0 becomes T3, ...";

bool take_tool(std::string_view& rest, int& tool) {
  if (rest.empty() || rest[0] < '0' || rest[0] > '9') return false;
  const auto [end, error] = std::from_chars(rest.data(), rest.data() + rest.size(), tool);
  if (error != std::errc{} || tool > 65535) return false;
  rest.remove_prefix(std::size_t(end - rest.data()));
  return true;
}

Result<gcode::ToolMap> parse_map(const std::string& asked) {
  gcode::ToolMap map;
  std::string_view rest = asked;
  for (;;) {
    int from = 0;
    int to = 0;
    if (!take_tool(rest, from) || rest.empty() || rest[0] != '=') {
      return usage(asked, "no pairs of T numbers can be read", kForm);
    }
    rest.remove_prefix(1);
    if (!take_tool(rest, to)) return usage(asked, "no pairs of T numbers can be read", kForm);
    if (!map.emplace(from, to).second) {
      return usage(asked, "T" + std::to_string(from) + " is moved twice");
    }
    if (rest.empty()) return map;
    if (rest[0] != ',') return usage(asked, "no pairs of T numbers can be read", kForm);
    rest.remove_prefix(1);
  }
}

Result<gcode::ToolMap> best_map(const job::Job& job, const rules::Rules& rules) {
  auto question = plan::question_of(job, rules, plan::AssignQuestion::By::time);
  if (!question) return std::move(question.error());
  auto assignment = plan::assign(*question);
  if (!assignment) return std::move(assignment.error());
  gcode::ToolMap map;
  for (std::size_t i = 0; i < question->filaments.size(); ++i) {
    map.emplace(question->filaments[i].tool, assignment->map[i]);
  }
  return map;
}

std::string place_name(const rules::Rules& rules, int tool) {
  const auto head = rules.toolhead_of(tool);
  return head ? printable(rules.toolheads[*head].name, 80) : std::string();
}

}  // namespace

Result<std::optional<Mapping>> map_tools(const Context& context, ByteSource& original,
                                         const rules::Rules& rules, const std::string& name,
                                         const std::string& asked, const job::Job& job) {
  auto map = asked == "best" ? best_map(job, rules) : parse_map(asked);
  if (!map) return std::move(map.error());
  std::erase_if(*map, [](const auto& pair) { return pair.first == pair.second; });
  if (!job.stints.empty() && job.stints.front().select == job::kNone &&
      gcode::mapped(*map, job.stints.front().tool) != job.stints.front().tool) {
    return usage(asked,
                 "the job prints with T0 before it selects any tool: there is no line to change");
  }
  auto recogniser = rules::Recogniser::make(rules.recognise, rules.durations);
  if (!recogniser) return std::move(recogniser.error());
  const std::string called = name == "-" ? "standard input" : name;
  gcode::Renumbering by(*map, rules.dialect.temperature_index_is_heater);
  auto lines = gcode::renumber(original, called, by, check::own_names(*recogniser));
  if (!lines) return std::move(lines.error());
  if (const auto tool = gcode::crowded(*map, by.seen())) {
    return usage(asked, "more than one tool of the job would be T" + std::to_string(*tool),
                 "say where that one goes, too");
  }
  if (lines->empty()) {
    context.note("--map: every filament that the job uses stays where it is");
    return std::optional<Mapping>();
  }
  Mapping out;
  out.lines = std::move(*lines);
  out.text = std::make_unique<SplicedSource>(original, gcode::splices_of(out.lines));
  out.rules = rules.with_filaments_moved(*map);
  out.original_bytes = job.bytes;
  out.original_hash = job.hash;
  for (const auto& [from, to] : *map) {
    if (!by.seen().contains(from)) continue;
    const std::string place = place_name(rules, to);
    out.loading.push_back(
        "load T" + std::to_string(to) + (place.empty() ? "" : " (" + place + ")") + ": " +
        printable(rules.filament(from).name, 80) + ", from T" + std::to_string(from));
  }
  auto moved = scan_job(context, *out.text, out.rules, name);
  if (!moved) return std::move(moved.error());
  out.job = std::move(*moved);
  return std::optional(std::move(out));
}

}  // namespace forewarm::cli
