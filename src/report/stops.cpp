#include "report/stops.h"

#include <fmt/format.h>

#include <cmath>

#include "report/attention.h"
#include "report/figures.h"

namespace forewarm::report {

double shut_off_from_s(const plan::Plan& plan) {
  return std::floor(plan.without_command.seconds()) + 1;
}

Table pause_table(const Summary& s) {
  Table out{.title = "Pauses"};
  out.columns = {{.head = "pauses", .kind = Column::Kind::name, .width = 18},
                 {.head = "line", .kind = Column::Kind::text, .width = 8, .right = true},
                 {.head = "layer", .kind = Column::Kind::text, .width = 7, .right = true},
                 {.head = "text", .kind = Column::Kind::text}};
  for (std::size_t i = 0; i < s.job.pauses.size(); ++i) {
    const job::Pause& p = s.job.pauses[i];
    const double at_s = s.lookahead.pause_at_s[i];
    out.rows.push_back(
        {.cells = {s.schedule ? spaced_minute(later(s.schedule->start, at_s)) : clock(at_s),
                   fmt::format("{}", p.line), fmt::format("{}", p.layer), clean(p.text)}});
  }
  return out;
}

std::string idle_words(const Summary& s) {
  const plan::Stretch& longest = s.lookahead.without_command;
  return fmt::format(
      "longest without any command: {:.0f} s, from {} to {}; a shut-off of the firmware that comes "
      "{:.0f} s or more after the last command disturbs nothing",
      longest.seconds(), clock(longest.from_s), clock(longest.to_s), shut_off_from_s(s.lookahead));
}

std::string hot_parked_words(const Summary& s) {
  std::string out;
  for (std::size_t h = 0; h < s.lookahead.heads.size(); ++h) {
    const plan::Stretch& hot = s.lookahead.heads[h].hot_parked;
    if (hot.seconds() <= 0) continue;
    out += fmt::format("{}{} {:.0f} s from {}",
                       out.empty() ? "longest on end hot while parked: " : ", ",
                       clean(head_name(s, h)), hot.seconds(), clock(hot.from_s));
  }
  return out;
}

}  // namespace forewarm::report
