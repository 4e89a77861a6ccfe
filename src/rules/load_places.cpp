#include <algorithm>
#include <set>

#include "rules/sections.h"
#include "rules/words.h"

namespace forewarm::rules {

PlaceReader::PlaceReader(const Rules& rules) : rules_(rules) {
  for (std::size_t h = 0; h < rules.toolheads.size(); ++h) {
    head_of_name_.emplace(rules.toolheads[h].name, h);
    for (const int tool : rules.toolheads[h].tools) head_of_tool_.emplace(tool, h);
  }
}

void PlaceReader::read(const Table<Filament>& t, Filament& into) const {
  Diagnostics& diagnostics = t.diagnostics();
  const auto read = [&](auto field, Places& places_into) {
    return places(t.node(field), t.section().of(field).name, diagnostics, places_into);
  };
  Places only;
  if (read(&Filament::only, only)) {
    if (t.node(&Filament::only)->as_array()->empty()) {
      diagnostics.add(t.at(&Filament::only), "only must name at least one tool or toolhead",
                      "leave it out where the filament may go anywhere");
    }
    into.only = std::move(only);
  }
  const bool never = read(&Filament::never, into.never);
  const Position never_at = t.at(&Filament::never);
  if (into.fixed && t.was_read(&Filament::tool)) {
    const auto at = head_of_tool_.find(into.tool);
    const std::size_t head = at == head_of_tool_.end() ? SIZE_MAX : at->second;
    const bool out = into.only && !into.only->name(into.tool, head);
    if (out || into.never.name(into.tool, head)) {
      diagnostics.add(t.at(&Filament::fixed), "fixed keeps this filament at T" +
                                                  std::to_string(into.tool) + ", where " +
                                                  (out ? "only" : "never") + " does not let it be");
    }
  } else if (never && !rules_.toolhead_per_tool_seen && diagnostics.wanted(never_at) &&
             !some_left(into)) {
    diagnostics.add(never_at, "never leaves this filament no tool at all");
  }
}

bool PlaceReader::places(const toml::node* node, std::string_view key, Diagnostics& diagnostics,
                         Places& into) const {
  if (node == nullptr) return false;
  const toml::array* array = node->as_array();
  if (array == nullptr) {
    diagnostics.add(position_of(*node), std::string(key) +
                                            " must be an array of T numbers and names of "
                                            "toolheads, not " +
                                            kind_of(*node));
    return false;
  }
  for (const toml::node& element : *array) {
    if (const auto* name = element.as_string()) {
      head(element, name->get(), diagnostics, into);
    } else {
      tool(element, key, diagnostics, into);
    }
  }
  return true;
}

void PlaceReader::tool(const toml::node& node, std::string_view key, Diagnostics& diagnostics,
                       Places& into) const {
  const auto tool = index_in(node, "a tool in " + std::string(key), diagnostics);
  if (!tool) return;
  into.tools.push_back(*tool);
  if (rules_.toolhead_per_tool_seen || head_of_tool_.contains(*tool)) return;
  diagnostics.add(position_of(node), "no toolhead serves T" + std::to_string(*tool));
}

void PlaceReader::head(const toml::node& node, const std::string& name, Diagnostics& diagnostics,
                       Places& into) const {
  const auto at = head_of_name_.find(name);
  if (rules_.toolhead_per_tool_seen) {
    diagnostics.add(position_of(node), "with tools = \"seen\" toolheads have no names of their own",
                    "give the T number");
  } else if (at != head_of_name_.end()) {
    into.heads.push_back(at->second);
  } else if (diagnostics.wanted(position_of(node))) {
    std::vector<std::string> names;
    for (const Toolhead& h : rules_.toolheads) names.push_back(h.name);
    diagnostics.add(position_of(node), "there is no toolhead " + quoted(name),
                    suggest(name, names));
  }
}

// Whether `never` leaves any place of `only`, or of all.
bool PlaceReader::some_left(const Filament& f) const {
  const std::set<int> never_tools(f.never.tools.begin(), f.never.tools.end());
  const std::set<std::size_t> never_heads(f.never.heads.begin(), f.never.heads.end());
  std::map<std::size_t, std::size_t> taken;  // tools of a toolhead, one by one
  for (const int tool : never_tools) {
    if (const auto at = head_of_tool_.find(tool); at != head_of_tool_.end()) ++taken[at->second];
  }
  const auto head_left = [&](std::size_t h) {
    const auto some = taken.find(h);
    return !never_heads.contains(h) &&
           (some == taken.end() || some->second < rules_.toolheads[h].tools.size());
  };
  if (!f.only) {
    for (std::size_t h = 0; h < rules_.toolheads.size(); ++h) {
      if (head_left(h)) return true;
    }
    return false;
  }
  const auto tool_left = [&](int tool) {
    const auto at = head_of_tool_.find(tool);
    return !never_tools.contains(tool) &&
           (at == head_of_tool_.end() || !never_heads.contains(at->second));
  };
  return std::any_of(f.only->heads.begin(), f.only->heads.end(), head_left) ||
         std::any_of(f.only->tools.begin(), f.only->tools.end(), tool_left);
}

}  // namespace forewarm::rules
