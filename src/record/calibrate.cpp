#include "record/calibrate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "base/statistics.h"
#include "record/approach.h"
#include "record/regime.h"

namespace forewarm::record {

namespace {

using thermal::Estimate;
using thermal::Fit;
using thermal::Stretch;

// Hosts commonly ask each second or two: samples further apart are spoken of. Common practice, no
// source.
constexpr double kCoarseS = 2;

bool tells(const Estimate& e, double share) {
  return std::isfinite(e.sd) && e.sd <= share * std::abs(e.value);
}

std::optional<Estimate> where_told(const std::optional<Estimate>& e) {
  return e && tells(*e, kLooseShare) ? e : std::nullopt;
}

// From drives of single moments to drives of the times between them. A step is no slope: it is left
// where it is seen.
void between(std::vector<thermal::Reading>& readings) {
  constexpr double kStep = 0.5;
  for (std::size_t i = 0; i + 1 < readings.size(); ++i) {
    const double next = readings[i + 1].drive;
    if (std::abs(next - readings[i].drive) < kStep)
      readings[i].drive = (readings[i].drive + next) / 2;
  }
}

std::vector<Stretch> stretches_of(const std::vector<Found>& list) {
  std::vector<Stretch> out;
  for (const Found& f : list) {
    out.push_back(f.stretch);
    if (f.momentary) between(out.back().readings);
  }
  return out;
}

// Whether rises of their own explain what one does not, by the F statistic of the two fits.
bool unequal(const Fit& one, const Fit& own) {
  const std::size_t more = own.rises_c.size();
  if (more < 2 || own.readings <= own.parameters) return false;
  const Moments m = moments(own.rises_c);
  if (!(m.sd > kUnequalShare * m.mean)) return false;
  const double f =
      (one.rss - own.rss) / double(more - 1) / (own.rss / double(own.readings - own.parameters));
  return f > kUnequalF;
}

std::optional<Fit> fitted(const std::vector<Stretch>& stretches, const CalibrateOptions& options) {
  if (stretches.empty()) return std::nullopt;
  thermal::FitOptions with{.ambient_c = options.ambient_c, .robust = options.robust};
  auto fit = thermal::fit(stretches, with);
  if (!fit) return std::nullopt;
  if (fit->driven && stretches.size() > 1) {
    with.own_rise = true;
    with.rise_c = fit->rise_c.value;
    auto own = thermal::fit(stretches, with);
    if (own && unequal(*fit, *own)) fit = std::move(own);
  }
  return std::optional(std::move(*fit));
}

std::string why_nothing(const HeaterStretches& h) {
  if (h.samples < kLeastReadings) {
    return fmt::format("there are only {} samples of it, and {} are needed", h.samples,
                       kLeastReadings);
  }
  if (!h.drive_known && !h.target_known) {
    return "the record has neither its drive nor its target, so when it was heated is not known";
  }
  if (!h.driven) return "it was never driven";
  if (h.widest_span_c < kLeastSpanC) {
    return fmt::format("no heat-up or cool-down of it spans {:g} C; the widest spans {} C",
                       kLeastSpanC, int(h.widest_span_c));
  }
  if (h.most_heat_readings > 0) {
    return fmt::format("its heat-ups have too few samples: {} are needed, and the longest has {}",
                       kLeastReadings, h.most_heat_readings);
  }
  if (h.most_readings < kLeastReadings) {
    return fmt::format("no heat-up or cool-down of it has {} samples; the longest has {}",
                       kLeastReadings, h.most_readings);
  }
  return "it has no heat-up from a known drive, only cool-downs, which do not tell what full drive "
         "does";
}

void add_residuals(Calibration& into, const std::vector<Stretch>& stretches, const Fit& fit) {
  for (std::size_t i = 0; i < stretches.size(); ++i) {
    auto& list = into.residuals.emplace_back();
    for (std::size_t k = 0; k < fit.residuals[i].size(); ++k) {
      const thermal::Reading& reading = stretches[i].readings[k];
      list.push_back({reading.time_s, fit.residuals[i][k], reading.temperature_c});
    }
  }
}

class Calibrator {
 public:
  Calibrator(const HeaterStretches& found, const CalibrateOptions& options)
      : found_(found), options_(options) {
    out_.heater = found.heater;
    out_.samples_in_all = found.samples;
  }

  Calibration run() {
    std::vector<Stretch> heats = stretches_of(found_.heat_ups);
    std::vector<Stretch> cools = stretches_of(found_.cool_downs);
    if (heats.empty()) return refused(why_nothing(found_));
    one_regime(heats);
    one_regime(cools);
    if (!options_.ambient_c && cools.empty()) rest(heats);
    const auto cool = fitted(cools, options_);
    std::vector<Stretch> all = heats;
    all.insert(all.end(), cools.begin(), cools.end());
    auto fit = fitted(all, options_);
    if (!fit) return refused("there are fewer samples than constants to be found");
    const bool cool_tells = cool && tells(cool->time_constant_s, kLooseShare);
    if (cool_tells) {
      out_.cool_time_constant_s = cool->time_constant_s;
      // A drive that is only taken to be full until the target is reached bends the climb.
      if (auto heat = found_.drive_known ? heats_alone(heats, *cool) : std::nullopt) {
        out_.unlike = true;
        add_residuals(out_, heats, *heat);
        add_residuals(out_, cools, *cool);
        const double readings = double(heat->readings + cool->readings);
        out_.rms_c = std::sqrt((heat->rss + cool->rss) / readings);
        fit = std::move(heat);
      }
    }
    if (!out_.unlike) {
      add_residuals(out_, all, *fit);
      out_.rms_c = fit->rms_c;
    }
    if (!tells(fit->time_constant_s, kLooseShare)) {
      if (cools.empty()) {
        return refused(
            "there is no cool-down, and the heat-ups are too straight to tell a time constant");
      }
      const double sd = fit->time_constant_s.sd;
      return refused(
          "its time constant cannot be told: " +
          (sd < 1e6 ? "what is found is no more certain than " + std::to_string(int(sd)) + " s"
                    : std::string("it may be anything")));
    }
    if (fit->rise_c.value <= 0) {
      return refused("it does not get warmer when it is driven");
    }
    if (out_.rms_c > kMostRmsC) {
      return refused("the model does not fit it: what is left has an rms of " +
                     std::to_string(std::lround(out_.rms_c)) + " C" +
                     (found_.drive_known
                          ? ""
                          : ", and without the drive in the record, it is taken as full until the "
                            "target is reached"));
    }
    tell(*fit);
    if (found_.drive_known) out_.rise_spread = spread_of_rises(heats, *fit);
    return std::move(out_);
  }

 private:
  Calibration refused(std::string why) {
    Calibration out;
    out.heater = found_.heater;
    out.samples_in_all = found_.samples;
    out.refused = std::move(why);
    return out;
  }

  void one_regime(std::vector<Stretch>& list) {
    for (Stretch& s : list) cut_ += keep_one_regime(s, options_.ambient_c) ? 1U : 0U;
  }

  // Nothing but a heat-up that begins at rest tells the ambient then.
  void rest(std::vector<Stretch>& heats) {
    for (std::size_t i = 0; i < heats.size(); ++i) {
      if (!found_.heat_ups[i].from_first && i != 0) continue;
      heats[i].start = Stretch::Start::ambient;
      out_.notes.emplace_back(
          "There is no cool-down, so ambient is what the first heat-up began at.");
      return;
    }
  }

  // The constants of the heat-ups by themselves, where they are not those of the cool-downs.
  [[nodiscard]] std::optional<Fit> heats_alone(const std::vector<Stretch>& heats,
                                               const Fit& cool) const {
    CalibrateOptions with = options_;
    with.ambient_c = cool.ambient_c.value;  // of both, but the cool-downs tell it
    auto heat = fitted(heats, with);
    if (!heat || !tells(heat->time_constant_s, kUnlikeShare)) return std::nullopt;
    const Estimate &a = heat->time_constant_s, &b = cool.time_constant_s;
    const double apart = std::abs(a.value - b.value);
    if (apart <= kUnlikeDeviations * std::hypot(a.sd, b.sd) || apart <= kUnlikeShare * b.value) {
      return std::nullopt;
    }
    heat->ambient_c = cool.ambient_c;
    return heat;
  }

  void tell(const Fit& fit) {
    out_.full_drive_c = fit.full_drive_c;
    out_.time_constant_s = fit.time_constant_s;
    out_.dead_time_s = fit.dead_time_s;
    out_.ambient_c = fit.ambient_c;
    out_.settles = found_.settles_s.size();
    out_.climbs = found_.climbs.size();
    out_.heat_ups = found_.heat_ups.size();
    out_.cool_downs = found_.cool_downs.size();
    for (const auto* list : {&found_.heat_ups, &found_.cool_downs}) {
      for (const Found& f : *list) out_.samples += f.readings;
    }
    if (cut_ > 0) {
      out_.samples = fit.readings;
      out_.notes.push_back("In " + std::to_string(cut_) +
                           " of the stretches something changed midway, such as a fan: only the "
                           "wider part of each is used.");
    }
    out_.reached_c = found_.reached_c;
    out_.drive_known = found_.drive_known;
    if (found_.reached_c > 0) out_.approach_c = where_told(approach_by_climbs(found_, fit));
    if (!out_.approach_c) {
      out_.climbs = 0;
      out_.approach_c = where_told(approach_by_drive(found_, fit));
    }
    if (!found_.settles_s.empty()) {
      const double mean_sd =
          moments(found_.settles_s).sd / std::sqrt(double(found_.settles_s.size()));
      // A median's is larger than a mean's, for normal errors.
      out_.settle_s = Estimate{median(found_.settles_s), std::sqrt(std::numbers::pi / 2) * mean_sd};
    }
    if (!fit.rises_c.empty()) {
      const auto [low, high] = std::minmax_element(fit.rises_c.begin(), fit.rises_c.end());
      out_.notes.push_back("Its heat-ups are not equally strong: full drive would end at " +
                           std::to_string(std::lround(*low + fit.ambient_c.value)) + " to " +
                           std::to_string(std::lround(*high + fit.ambient_c.value)) +
                           " C; full_drive_c is their mean.");
    }
    double span_s = 0;
    std::size_t steps = 0;
    for (const Found& f : found_.heat_ups) {
      const auto& readings = f.stretch.readings;
      span_s += readings.back().time_s - readings.front().time_s;
      steps += std::max<std::size_t>(f.readings, 2) - 1;  // more than are kept of a long one
    }
    if (steps > 0) out_.step_s = span_s / double(steps);
    if (out_.step_s > kCoarseS) {
      out_.notes.push_back("Samples are " + std::to_string(std::lround(out_.step_s)) +
                           " s apart: the dead time is known no better than that.");
    }
    if (!found_.drive_known) {
      out_.notes.emplace_back(
          "The record has no drive: it is taken as full from when a target is given until it is "
          "first reached. The values are less certain than they look.");
    }
    if (out_.cool_downs == 0) {
      out_.notes.emplace_back("There is no cool-down: the time constant is that of the climb.");
    }
    if (out_.unlike) {
      out_.notes.emplace_back(
          "It does not cool as it heats: the cool-downs have a time constant of their own.");
    }
  }

  const HeaterStretches& found_;
  const CalibrateOptions& options_;
  Calibration out_;
  std::size_t cut_ = 0;
};

}  // namespace

std::vector<Calibration> calibrate(const std::vector<HeaterStretches>& heaters,
                                   const CalibrateOptions& options) {
  std::vector<Calibration> out;
  for (const HeaterStretches& h : heaters) out.push_back(Calibrator(h, options).run());
  return out;
}

std::vector<ToldKey> told_keys(const Calibration& c, double reached_c) {
  const std::size_t stretches = c.heat_ups + c.cool_downs;
  std::vector<ToldKey> out{{"full_drive_c", c.full_drive_c, stretches},
                           {"time_constant_s", c.time_constant_s, stretches},
                           {"dead_time_s", c.dead_time_s, stretches}};
  // Wherever between two samples it was that the drive came on: evenly distributed.
  Estimate& dead = out.back().value;
  dead.sd = std::hypot(dead.sd, c.step_s / std::sqrt(12.0));
  if (c.unlike && c.cool_time_constant_s) {
    out.push_back({"cool_time_constant_s", *c.cool_time_constant_s, stretches});
  }
  const std::size_t before = out.size();
  if (c.settle_s) out.push_back({"settle_s", *c.settle_s, c.settles});
  // Where only the drive tells it, it makes climbs longer than a controller's other parts let them
  // be.
  if (c.approach_c && c.climbs > 0) out.push_back({"approach_c", *c.approach_c, c.climbs});
  if (out.size() > before && reached_c <= 0 && c.reached_c > 0) {
    std::size_t most = 0;
    for (std::size_t i = before; i < out.size(); ++i) most = std::max(most, out[i].observations);
    out.insert(out.begin() + std::ptrdiff_t(before), {"reached_c", {c.reached_c, 0}, most});
  }
  return out;
}

}  // namespace forewarm::record
