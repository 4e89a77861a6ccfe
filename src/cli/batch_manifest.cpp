#include "cli/batch_manifest.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <nlohmann/json.hpp>
#include <vector>

#include "report/format.h"

namespace forewarm::cli {

namespace {

using Json = nlohmann::ordered_json;

constexpr std::array kOutcomes{Outcome::done, Outcome::unchanged, Outcome::refused,
                               Outcome::failed};

Error not_an_entry(std::string message) { return Error{Error::Kind::usage, std::move(message)}; }

std::string hex(std::uint64_t value) { return fmt::format("{:016x}", value); }

std::optional<std::uint64_t> from_hex(std::string_view text) {
  std::uint64_t value = 0;
  if (text.size() != 16) return std::nullopt;
  const auto [rest, code] = std::from_chars(text.data(), text.data() + text.size(), value, 16);
  if (code != std::errc{} || rest != text.data() + text.size()) return std::nullopt;
  return value;
}

std::string bytes_as_hex(std::string_view text) {
  std::string out;
  for (const char c : text) out += fmt::format("{:02x}", static_cast<unsigned char>(c));
  return out;
}

std::optional<std::string> bytes_from_hex(std::string_view text) {
  if (text.size() % 2 != 0) return std::nullopt;
  std::string out;
  for (std::size_t i = 0; i < text.size(); i += 2) {
    unsigned value = 0;
    const auto [rest, code] = std::from_chars(text.data() + i, text.data() + i + 2, value, 16);
    if (code != std::errc{} || rest != text.data() + i + 2) return std::nullopt;
    out += static_cast<char>(value);
  }
  return out;
}

bool survives_json(const std::string& path) {
  const std::string written = Json(path).dump(-1, ' ', false, Json::error_handler_t::replace);
  return Json::parse(written).get<std::string>() == path;
}

// The members of an object, each of which must be there and of its type.
class Members {
 public:
  explicit Members(const Json& object) : object_(object) {}

  [[nodiscard]] std::string text(const std::string& key) {
    const auto at = object_.find(key);
    if (at != object_.end() && at->is_string()) return at->get<std::string>();
    return fail(key), std::string();
  }
  [[nodiscard]] std::uint64_t count(const std::string& key) {
    const auto at = object_.find(key);
    if (at != object_.end() && at->is_number_unsigned()) return at->get<std::uint64_t>();
    return fail(key), 0;
  }
  [[nodiscard]] double number(const std::string& key) {
    const auto at = object_.find(key);
    if (at != object_.end() && at->is_number()) return at->get<double>();
    return fail(key), 0;
  }
  [[nodiscard]] std::uint64_t hash(const std::string& key) {
    if (const auto value = from_hex(text(key))) return *value;
    return fail(key), 0;
  }
  void fail(const std::string& key) {
    if (wrong_.empty()) wrong_ = fmt::format("\"{}\" is missing or wrong", key);
  }
  [[nodiscard]] const std::string& wrong() const { return wrong_; }

 private:
  const Json& object_;
  std::string wrong_;
};

Error error_from(const Json& entry, Outcome outcome, Members& members) {
  const Json object = entry.contains("error") ? entry["error"] : Json();
  Members of_error(object);
  Error out{outcome == Outcome::refused ? Error::Kind::refused : Error::Kind::internal,
            of_error.text("message"),
            of_error.text("file"),
            of_error.count("line"),
            of_error.count("column"),
            "",
            of_error.text("hint")};
  if (!of_error.wrong().empty()) members.fail("error");
  return out;
}

BatchFigures figures_from(Members& members) {
  BatchFigures out;
  out.changes = members.count("changes");
  out.inserted = members.count("put_in");
  out.removed = members.count("taken_out");
  for (const auto& figure : kManifestFigures) {
    const std::string key((*figure).key);
    figure.set(out.plan, figure.counts() ? double(members.count(key)) : members.number(key));
  }
  return out;
}

}  // namespace

const char* name_of(Outcome outcome) {
  switch (outcome) {
    case Outcome::done:
      return "done";
    case Outcome::unchanged:
      return "unchanged";
    case Outcome::refused:
      return "refused";
    case Outcome::failed:
      break;
  }
  return "failed";
}

std::string_view last_part(std::string_view path) {
  const std::size_t slash = path.rfind('/');
  return slash == std::string_view::npos ? path : path.substr(slash + 1);
}

std::string line_of(const Entry& entry) {
  Json json;
  json["path"] = entry.path;
  if (!survives_json(entry.path)) json["path_hex"] = bytes_as_hex(entry.path);
  json["bytes"] = entry.bytes;
  json["input"] = hex(entry.input);
  json["rules"] = hex(entry.rules);
  json["forewarm"] = entry.program;
  json["outcome"] = name_of(entry.outcome);
  if (entry.error) {
    const Error& error = *entry.error;
    json["error"] = {{"message", report::clean(error.message, error.message.size())},
                     {"file", report::clean(error.file, error.file.size())},
                     {"line", error.line},
                     {"column", error.column},
                     {"hint", report::clean(error.hint, error.hint.size())}};
  } else {
    const BatchFigures& f = entry.figures;
    json["output_bytes"] = entry.output_bytes;
    json["output"] = hex(entry.output);
    json["changes"] = f.changes;
    json["put_in"] = f.inserted;
    json["taken_out"] = f.removed;
    for (const auto& figure : kManifestFigures) {
      const double value = figure.value(f.plan);
      json[std::string((*figure).key)] =
          figure.counts() ? Json(std::uint64_t(value)) : Json(report::thousandths(value));
    }
  }
  return report::without_controls(json.dump(-1, ' ', false, Json::error_handler_t::replace)) + '\n';
}

Result<Entry> entry_from(std::string_view line) {
  const Json json = Json::parse(line, nullptr, false);
  if (!json.is_object()) return not_an_entry("is not a JSON object");
  Members members(json);
  Entry entry;
  entry.path = members.text("path");
  if (json.contains("path_hex")) {
    const auto path = bytes_from_hex(members.text("path_hex"));
    if (!path) members.fail("path_hex");
    entry.path = path.value_or("");
  }
  entry.bytes = members.count("bytes");
  entry.input = members.hash("input");
  entry.rules = members.hash("rules");
  entry.program = members.text("forewarm");
  const std::string outcome = members.text("outcome");
  const auto* const known = std::find_if(kOutcomes.begin(), kOutcomes.end(),
                                         [&](Outcome o) { return name_of(o) == outcome; });
  if (known == kOutcomes.end()) {
    members.fail("outcome");
  } else {
    entry.outcome = *known;
  }
  if (entry.outcome == Outcome::refused || entry.outcome == Outcome::failed) {
    entry.error = error_from(json, entry.outcome, members);
  } else {
    entry.output_bytes = members.count("output_bytes");
    entry.output = members.hash("output");
    entry.figures = figures_from(members);
  }
  if (!members.wrong().empty()) return not_an_entry(members.wrong());
  return entry;
}

Status Manifest::read(std::string_view text, const std::string& name) {
  for (std::uint64_t number = 1;; ++number) {
    const std::size_t end = text.find('\n');
    if (end == std::string_view::npos) return success();
    auto entry = entry_from(text.substr(0, end));
    if (!entry) {
      Error error = std::move(entry.error());
      error.message = "this is no line of a manifest: " + error.message;
      error.file = name;
      error.line = number;
      error.hint = "move the file away, and everything is done again";
      return error;
    }
    put(std::move(*entry));
    text.remove_prefix(end + 1);
  }
}

void Manifest::put(Entry entry) {
  std::string output(last_part(entry.path));
  by_output_.insert_or_assign(std::move(output), std::move(entry));
}

const Entry* Manifest::find(std::string_view path) const {
  const auto at = by_output_.find(last_part(path));
  return at == by_output_.end() ? nullptr : &at->second;
}

std::string Manifest::text() const {
  std::vector<const Entry*> sorted;
  for (const auto& [output, entry] : by_output_) sorted.push_back(&entry);
  std::sort(sorted.begin(), sorted.end(),
            [](const Entry* a, const Entry* b) { return a->path < b->path; });
  std::string out;
  for (const Entry* entry : sorted) out += line_of(*entry);
  return out;
}

}  // namespace forewarm::cli
