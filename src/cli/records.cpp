#include "cli/records.h"

#include <algorithm>

#include "cli/inputs.h"
#include "io/progress.h"
#include "rules/keys.h"

namespace forewarm::cli {

Result<report::CalibratedRecord> read_record(const Context& context, const std::string& path,
                                             const rules::Rules& rules,
                                             record::Listener& listener) {
  auto text = open_text(path);
  if (!text) return std::move(text.error());
  io::Progress progress(2, context.progress_wanted(), "reading", text->size());
  record::ReadOptions options;
  options.name = shown_name(path);
  options.progress = [&](std::uint64_t done) { progress.update(done); };
  auto summary = record::read(*text, rules, options, listener);
  progress.finish();
  if (!summary) return std::move(summary.error());
  return report::CalibratedRecord{options.name, std::move(*summary)};
}

void add_stretches(std::vector<record::HeaterStretches>& all,
                   std::vector<record::HeaterStretches> more) {
  for (record::HeaterStretches& h : more) {
    auto same = std::find_if(all.begin(), all.end(), [&](const auto& other) {
      return other.heater.name == h.heater.name && other.heater.index == h.heater.index;
    });
    if (same == all.end()) {
      all.push_back(std::move(h));
    } else {
      same->add(std::move(h));
    }
  }
}

void Both::part(double from_s, std::uint64_t line) {
  one_.part(from_s, line);
  other_.part(from_s, line);
}

void Both::heater(const record::Heater& heater) {
  one_.heater(heater);
  other_.heater(heater);
}

void Both::sample(const record::Sample& sample) {
  one_.sample(sample);
  other_.sample(sample);
}

void Both::echo(const record::Echo& echo) {
  one_.echo(echo);
  other_.echo(echo);
}

void Both::stop(const record::Stop& stop) {
  one_.stop(stop);
  other_.stop(stop);
}

void Both::select(const record::Select& select) {
  one_.select(select);
  other_.select(select);
}

}  // namespace forewarm::cli
