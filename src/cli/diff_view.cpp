#include "cli/diff_view.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "cli/inputs.h"
#include "report/format.h"

namespace forewarm::cli {

namespace {

report::TextRange in_job(const rewrite::HunkPlace& place, const SplicedSource* moved) {
  if (moved == nullptr) return {place.first, place.last};
  return {moved->place_of(place.first), moved->place_of(place.last)};
}

// REQUIRES: it was asked for.
Result<std::size_t> number_of(const AskedPlace& place, std::size_t most, const std::string& job) {
  const bool gap = place.kind == AskedPlace::Kind::gap;
  const std::string option = gap ? "--gap" : "--change";
  const std::string& text = place.number;
  std::size_t number = 0;
  const auto [end, code] = std::from_chars(text.data(), text.data() + text.size(), number);
  const bool digits = !text.empty() && std::all_of(text.begin(), text.end(),
                                                   [](char c) { return c >= '0' && c <= '9'; });
  Error e{Error::Kind::usage, option + ' ' + printable(text)};
  if (!digits) {
    e.message += ": which one? It takes a number";
    e.hint = fmt::format("{} are counted from 1, as forecast does", gap ? "gaps" : "changes");
    return e;
  }
  if (code == std::errc{} && number >= 1 && number <= most) return number;
  const std::string all =
      gap ? report::counted(most, "gap", "gaps") : report::counted(most, "change", "changes");
  e.message += fmt::format(": {} has {}", shown_name(job), most == 0 ? "no " + all.substr(2) : all);
  if (most > 0) {
    e.hint = gap ? "forewarm forecast numbers the worst ones; in its JSON they stand in this order"
                 : "forewarm forecast --csv - has all of them, with their numbers";
  }
  return e;
}

}  // namespace

rewrite::HunkView view_of(const report::Places& places, const SplicedSource* moved) {
  return {.says = [&places, moved](const rewrite::HunkPlace& place) {
    return places.words(in_job(place, moved));
  }};
}

Status show_only(rewrite::HunkView& view, const AskedPlace& place, const report::Places& places,
                 const job::Job& job, const plan::Plan& plan, const SplicedSource* moved) {
  const bool gap = place.kind == AskedPlace::Kind::gap;
  const auto number = number_of(place, gap ? plan.gaps.size() : job.tool_changes.size(), job.name);
  if (!number) return number.error();
  std::vector<report::TextRange> shown{};
  if (gap) {
    shown = places.gap(*number);
  } else {
    shown.push_back(places.change(*number));
  }
  view.wanted = [shown = std::move(shown), moved](const rewrite::HunkPlace& hunk) {
    const report::TextRange range = in_job(hunk, moved);
    return std::any_of(shown.begin(), shown.end(),
                       [&](const report::TextRange& one) { return one.touches(range); });
  };
  return success();
}

}  // namespace forewarm::cli
