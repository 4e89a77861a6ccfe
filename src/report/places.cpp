#include "report/places.h"

#include <fmt/format.h>

#include <algorithm>

#include "report/format.h"

namespace forewarm::report {

Places::Places(const job::Job& job, const plan::Plan& plan) : job_(job), plan_(plan) {
  changes_.reserve(job.tool_changes.size());
  auto next = job.uses.begin();  // the first that begins behind the change
  for (std::size_t i = 0; i < job.tool_changes.size(); ++i) {
    const job::ToolChange& c = job.tool_changes[i];
    while (next != job.uses.end() && next->first.offset <= c.at.offset) ++next;
    if (c.kind == job::ChangeKind::redundant) {  // its tool goes on
      changes_.push_back({c.at.offset, c.end_offset});
      continue;
    }
    TextRange range{
        i > 0 ? job.tool_changes[i - 1].end_offset : c.at.offset,
        i + 1 < job.tool_changes.size() ? job.tool_changes[i + 1].at.offset : job.bytes};
    if (next != job.uses.begin()) {
      const std::uint64_t after = i > 0 ? range.first : 0;
      range.first = std::max(after, std::min(std::prev(next)->last_end, c.at.offset));
    }
    if (next != job.uses.end()) range.last = std::min(next->first.offset, range.last);
    changes_.push_back(range);
  }
}

std::string Places::words(const TextRange& range) const {
  std::string out;
  const auto& layers = job_.layer_starts;
  if (!layers.empty()) {
    const auto next =
        std::upper_bound(layers.begin(), layers.end(), range.first,
                         [](std::uint64_t at, const job::Place& p) { return at < p.offset; });
    out =
        next == layers.begin() ? "before layer 1" : fmt::format("layer {}", next - layers.begin());
  }
  const job::Place place{range.first, job_.index.time_at(range.first)};
  out += (out.empty() ? "" : ", ") + clock(plan_.delays.wall(place));
  const std::string tool = tool_words(range);
  return tool.empty() ? out : out + ", " + tool;
}

std::string Places::tool_words(const TextRange& range) const {
  const auto name = [](int tool) {
    return tool < 0 ? std::string("no tool") : fmt::format("T{}", tool);
  };
  const auto redundant = [this](std::size_t i) {
    return job_.tool_changes[i].kind == job::ChangeKind::redundant;
  };
  // The ranges of changes only touch each other.
  const auto first =
      std::partition_point(changes_.begin(), changes_.end(),
                           [&](const TextRange& change) { return change.last < range.first; });
  auto from = std::size_t(first - changes_.begin());
  auto end = from;
  while (end < changes_.size() && changes_[end].touches(range)) ++end;
  while (from < end && redundant(from)) ++from;
  while (from < end && redundant(end - 1)) --end;
  if (from == end) {
    // What has been selected by then.
    const int tool = from > 0                    ? job_.tool_changes[from - 1].tool
                     : job_.tool_changes.empty() ? (job_.uses.empty() ? -1 : job_.uses.front().tool)
                                                 : job_.tool_changes.front().from_tool;
    return tool < 0 ? std::string() : name(tool);
  }
  const std::size_t to = end - 1;
  const int before = job_.tool_changes[from].from_tool;
  const int after = job_.tool_changes[to].tool;
  const std::string tools =
      before < 0 ? name(after) : fmt::format("{} to {}", name(before), name(after));
  return from == to ? fmt::format("{}, change {}", tools, from + 1)
                    : fmt::format("{}, changes {} to {}", tools, from + 1, to + 1);
}

std::vector<TextRange> Places::gap(std::size_t number) const {
  const plan::GapPlan& gap = plan_.gaps[number - 1];
  const std::uint64_t from =
      gap.before ? job_.uses[*gap.before].last_end : job_.start.value_or(job::Place{}).offset;
  const std::uint64_t to = gap.after ? job_.uses[*gap.after].first.offset : job_.bytes;
  std::vector<TextRange> out;
  for (const plan::Command& c : plan_.commands) {
    const bool of_heater = c.kind != plan::CommandDraft::Kind::raw || c.step;
    if (of_heater && c.head == gap.head && from <= c.at.offset && c.at.offset <= to) {
      out.push_back({c.at.offset, c.at.offset});
    }
  }
  for (const std::size_t i : plan_.disabled) {
    const job::Target& t = job_.targets[i];
    if (t.head == gap.head && from <= t.at.offset && t.at.offset <= to) {
      out.push_back({t.at.offset, t.at.offset});
    }
  }
  std::sort(out.begin(), out.end(),
            [](const TextRange& a, const TextRange& b) { return a.first < b.first; });
  return out;
}

}  // namespace forewarm::report
