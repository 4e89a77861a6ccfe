#include "cli/rule_file.h"

#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <string_view>
#include <vector>

#include "io/read_all.h"
#include "rules/load.h"

namespace forewarm::cli {

namespace {

std::string variable(const char* name) {
  const char* value = std::getenv(name);
  return value != nullptr ? value : "";
}

// A path that cannot be examined counts as existing: reading it will say why.
bool exists(const std::string& path) {
  return access(path.c_str(), F_OK) == 0 || (errno != ENOENT && errno != ENOTDIR);
}

constexpr std::string_view kBuiltIn = "built-in";

struct Search {
  std::string found;                // a path, or kBuiltIn; empty: none
  std::vector<std::string> places;  // that were searched in vain, and why
  std::string usual_folder;         // of the user's own rule file; empty: there is none
};

// The user's folder of settings, by the XDG Base Directory Specification, which has relative paths
// ignored.
void find_usual_folder(Search& search) {
  const std::string xdg = variable("XDG_CONFIG_HOME"), home = variable("HOME");
  if (xdg.starts_with('/')) {
    search.usual_folder = xdg + "/forewarm";
    return;
  }
  if (!xdg.empty()) search.places.emplace_back("$XDG_CONFIG_HOME is not an absolute path");
  if (home.starts_with('/')) {
    search.usual_folder = home + "/.config/forewarm";
  } else {
    search.places.emplace_back(home.empty() ? "$HOME is not set" : "$HOME is not an absolute path");
  }
}

Search search(const std::string& named) {
  Search out;
  out.found = named;
  if (!out.found.empty()) return out;
  out.places.emplace_back("--rules is not given");
  out.found = variable("FOREWARM_RULES");
  if (!out.found.empty()) return out;
  out.places.emplace_back("$FOREWARM_RULES is not set");
  find_usual_folder(out);
  if (out.usual_folder.empty()) return out;
  const std::string usual = out.usual_folder + "/rules.toml";
  if (exists(usual)) {
    out.found = usual;
  } else {
    out.places.push_back(printable(usual, 4096) + " does not exist");
  }
  return out;
}

Error no_rule_file(const Search& search) {
  Error error{Error::Kind::rules, "there is no rule file that describes the machine"};
  for (const std::string& place : search.places) error.message += "\n  " + place;
  std::string begin = "forewarm rules new --from JOB > rules.toml";
  if (!search.usual_folder.empty()) {
    const std::string folder = printable(search.usual_folder, 4096);
    begin = "mkdir -p " + folder + " && forewarm rules new --from JOB > " + folder + "/rules.toml";
  }
  error.hint = "name yours with --rules FILE, or begin one with " + begin +
               "; --rules built-in uses guesses";
  return error;
}

// An error of kind `usage` is one of a setting.
Result<rules::Rules> naming_set(Result<rules::Rules> rules) {
  if (!rules && rules.error().kind == Error::Kind::usage) {
    rules.error().message.insert(0, "--set ");
  }
  return rules;
}

}  // namespace

Result<rules::Rules> load_with(std::string_view text, const std::string& name,
                               std::span<const rules::Setting> settings) {
  return naming_set(rules::load(text, name, settings));
}

Result<std::string> rule_file_text(const std::string& file) {
  auto text = io::read_all(file, rules::kMaxRuleBytes);
  if (!text) text.error().kind = Error::Kind::rules;  // the rules are at fault, not the job
  return text;
}

Result<RuleText> rule_text_in_force(const std::string& named, Guesses guesses) {
  const Search where = search(named);
  const bool guess = where.found.empty() && guesses == Guesses::where_no_file;
  if (where.found == kBuiltIn || guess) {
    return RuleText{std::string(rules::built_in_text()), "built-in guesses", true};
  }
  if (where.found.empty()) return no_rule_file(where);
  auto text = rule_file_text(where.found);
  if (!text) return std::move(text.error());
  return RuleText{std::move(*text), where.found, false};
}

Result<rules::Rules> rules_in_force(const std::string& named, Guesses guesses,
                                    std::span<const rules::Setting> settings) {
  const auto text = rule_text_in_force(named, guesses);
  if (!text) return text.error();
  auto rules = load_with(text->text, text->name, settings);
  if (rules) rules->built_in = text->built_in;
  return rules;
}

std::string rule_file_in_force(const std::string& named) {
  const std::string found = search(named).found;
  return found == kBuiltIn ? std::string() : found;
}

}  // namespace forewarm::cli
