#include "report/findings.h"

#include <fmt/format.h>

#include "base/error.h"

namespace forewarm::report {

std::set<check::Id> ids_of(const check::Report& report) {
  std::set<check::Id> ids;
  for (const check::Finding& f : report.findings.list()) ids.insert(f.id);
  return ids;
}

namespace {

std::string explained(check::Id id) {
  return fmt::format("{}: {}\n", check::name_of(id), check::explain(id));
}

}  // namespace

std::string found_count(const check::Report& report) {
  const std::uint64_t found = report.findings.list().size() + report.findings.left_out();
  return found == 0 ? "no findings" : counted(found, "finding", "findings");
}

std::string found_words(const check::Report& report) {
  return fmt::format(
      "{}: {} compared, {} inserted, {} removed; {}, {} of it waiting", found_count(report),
      counted(report.moves, "extruding move", "extruding moves"),
      counted(report.inserted, "line", "lines"), counted(report.disabled, "line", "lines"),
      duration(report.duration_s), duration(report.wait_s));
}

std::string findings_text(const check::Report& report, const std::string& name,
                          const rules::Rules& rules) {
  std::string out;
  const std::string file = printable(name);
  for (const check::Finding& f : report.findings.list()) {
    out += f.line > 0
               ? fmt::format("{}:{}: {}: {}\n", file, f.line, check::name_of(f.id), f.message)
               : fmt::format("{}: {}: {}\n", file, check::name_of(f.id), f.message);
  }
  if (const std::uint64_t more = report.findings.left_out(); more > 0) {
    out += fmt::format("... and {} more of the same kinds\n", more);
  }
  const auto ids = ids_of(report);
  if (!ids.empty()) out += "\n";
  for (const check::Id id : ids) out += explained(id);
  if (!ids.empty()) out += "\n";
  out += found_words(report) + '\n';
  return out + "rules: " + rules_words(rules) + '\n';
}

Json found_json(const check::Report& report) {
  Json out = Json::object();
  out["findings"] = Json::array();
  for (const check::Finding& f : report.findings.list()) {
    out["findings"].push_back(
        {{"id", check::name_of(f.id)}, {"line", f.line}, {"message", f.message}});
  }
  out["explain"] = Json::object();
  for (const check::Id id : ids_of(report)) {
    out["explain"][std::string(check::name_of(id))] = check::explain(id);
  }
  out["left_out"] = report.findings.left_out();
  return out;
}

std::string findings_json(const check::Report& report, const rules::Rules& rules) {
  Json out = json_begun();
  out["rules"] = rules_json(rules);
  out.update(found_json(report));
  return written(out);
}

std::string all_findings_text() {
  std::string out;
  for (std::size_t i = 0; i < check::kIds; ++i) out += explained(check::Id(i));
  return out;
}

}  // namespace forewarm::report
