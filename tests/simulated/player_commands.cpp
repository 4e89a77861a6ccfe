#include <algorithm>
#include <cmath>

#include "player.h"

namespace simulated {
namespace {

constexpr const char* kAxes = "XYZE";

bool is_move(const CodeLine& code) {
  return code.letter == 'G' && code.number >= 0 && code.number <= 3;
}

std::string name_of(const CodeLine& code) {
  return code.letter ? code.letter + std::to_string(code.number) : "no command";
}

}  // namespace

void Player::draw_pace() {
  const double off = d_.motion.time_sd * std::clamp(paces_.normal(), -4.0, 4.0);
  queue_.kind().time_factor = d_.motion.time_factor * std::max(0.1, 1 + off);
}

double Player::drawn(const Spread& spread, Chance& chance) {
  const double off = std::clamp(chance.normal(), -4.0, 4.0) * spread.sd_s;
  return std::max(spread.mean_s / 2, spread.mean_s + off);
}

double Player::stop(double seconds, const char* after, const char* why) {
  truth_.stops.push_back({truth_.lines, now_s_, seconds, after});
  record_.say(now_s_, std::string("stopped: ") + why);
  dwell(seconds, "stops");
  record_.say(now_s_, "goes on");
  return seconds;
}

double Player::maybe_stop(double odds, Chance& chance, const char* after, const char* why) {
  // Both are drawn each time, so that the next stop does not depend on this one.
  const bool stops = chance.share() < odds;
  const double more = -std::log(1 - chance.share()) * (d_.stop_mean_s - d_.stop_least_s);
  return stops ? stop(d_.stop_least_s + more, after, why) : 0;
}

Player::Head* Player::head_of_tool(int tool) {
  for (Head& head : heads_) {
    for (int served : head.kind->tools) {
      if (served == tool) return &head;
    }
  }
  return nullptr;
}

Player::Head* Player::head_of(const CodeLine& code) {
  const auto given = code.value('T');
  if (!given) return &in_use();
  if (d_.temperature_index == "tool") return head_of_tool(int(*given));
  for (Head& head : heads_) {
    if (head.kind->heater == int(*given)) return &head;
  }
  return nullptr;
}

void Player::set(Head& head, double target_c) {
  head.target_c = target_c;
  if (target_c > 0) head.wanted_c = std::min(head.wanted_c, target_c);
  const std::size_t heater = head.heater;
  in_order(d_.settings == "read",
           [this, heater, target_c] { heaters_[heater].set_target(target_c); });
}

// Since when it has been as warm as its target asks for; -1 if it is not. With a lower target it
// has been for long.
double Player::warm_from_s(std::size_t heater) {
  const Heater& h = heaters_[heater];
  Warm& warm = warm_[heater];
  const bool lower = h.target_c() < warm.target_c;
  if (h.target_c() != warm.target_c) warm = {h.target_c(), lower ? 0.0 : -1.0};
  if (h.read_c() < h.target_c() - d_.wait.within_c) {
    warm.from_s = -1;
  } else if (warm.from_s < 0) {
    warm.from_s = now_s_;
  }
  return warm.from_s;
}

void Player::wait(Head* head, std::size_t heater, double target_c, bool also_cooling) {
  drain();
  Heater& h = heaters_[heater];
  h.set_target(target_c);
  if (head) head->target_c = head->wanted_c = target_c;
  if (target_c <= d_.ambient_c) return;
  if (!head && d_.bed.instant) return;
  const auto inside = [&] {
    const double over = h.read_c() - target_c;
    return over >= -d_.wait.within_c && (!also_cooling || over <= d_.wait.within_c);
  };
  WaitTruth w{truth_.lines, "", h.kind().index, target_c, h.sensor_c(), now_s_, 0, 0};
  const bool counts = d_.wait.counts_before && !also_cooling;
  const double from_s = now_s_, stay_s = inside() && !counts ? d_.wait.warm_stay_s : d_.wait.stay_s;
  double inside_from_s = !inside() ? -1 : counts ? warm_from_s(heater) : now_s_;
  waiting_ = true;
  while (inside_from_s < 0 || now_s_ - inside_from_s < stay_s - 1e-9 ||
         now_s_ - from_s < d_.wait.least_s - 1e-9) {
    if (now_s_ - from_s > d_.wait.give_up_s) {
      throw GaveUp{"line " + std::to_string(truth_.lines) + ": heater " +
                   std::to_string(h.kind().index) + " does not get to its target"};
    }
    beat();
    if (!inside()) {
      inside_from_s = -1;
    } else if (inside_from_s < 0) {
      inside_from_s = now_s_;
    }
  }
  waiting_ = false;
  w.took_s = now_s_ - from_s;
  const double warm_s = std::max(d_.wait.least_s, counts ? 0 : d_.wait.warm_stay_s);
  w.late_s = std::max(0.0, w.took_s - warm_s - d_.control_s);
  truth_.time_by_cause["waiting"] += w.took_s;
  account(head, w);
}

void Player::account(Head* head, WaitTruth w) {
  if (!head) {
    w.cause = "bed";
  } else if (!print_began_) {
    w.cause = "start";
  } else if (head != mounted_) {
    w.cause = "gap";
    head->early_wait_s += w.took_s;
    head->early_late_s += w.late_s;
  } else if (UseTruth& use = truth_.uses[head->use]; use.first_feed_s < 0) {
    w.cause = "gap";
    use.wait_s += w.took_s;
    use.late_s += w.late_s;
  } else {
    w.cause = fed_since_exchange_ ? "use" : "exchange";
  }
  truth_.waits.push_back(std::move(w));
}

double Player::exchange(Head& head, int tool, ChangeTruth& change) {
  const double seconds = drawn(head.kind->exchange, exchanges_);
  // Waits for the heater that the exchange needs stand before the select.
  for (std::size_t i = waits_since_print_; i < truth_.waits.size(); ++i) {
    WaitTruth& w = truth_.waits[i];
    if (w.cause == "use" && w.heater == head.kind->heater) w.cause = "exchange";
  }
  feeding_ = &change.exchange;
  feeding_wanted_c_ = head.wanted_c;
  feeding_->take(heaters_[head.heater].sensor_c(), feeding_wanted_c_);
  dwell(seconds, "exchange");
  feeding_ = nullptr;
  head.loaded = tool;
  fed_since_exchange_ = false;
  return seconds;
}

void Player::select(int tool) {
  drain();
  Head* head = head_of_tool(tool);
  if (!head)
    throw GaveUp{"line " + std::to_string(truth_.lines) + ": there is no T" + std::to_string(tool)};
  const bool other_head = head != mounted_;
  const bool other_filament = head->loaded >= 0 && head->loaded != tool;
  if (head->loaded < 0) head->loaded = tool;
  if (!other_head && !other_filament) return;
  ChangeTruth change;
  change.line = truth_.lines;
  change.from_tool = mounted_ ? mounted_->last_tool : -1;
  change.to_tool = tool;
  change.kind = !other_head ? "filament" : other_filament ? "both" : "toolhead";
  change.at_s = now_s_;
  if (other_head) {
    if (mounted_) {
      coming_ = head;
      change.park_s = drawn(mounted_->kind->park, parks_);
      truth_.uses[mounted_->use].to_s = now_s_;
      mounted_ = nullptr;
      dwell(change.park_s, "park_pick");
    }
    change.pick_s = drawn(head->kind->pick, picks_);
    begin_use(*head, tool);
    coming_ = head;
    dwell(change.pick_s, "park_pick");
    coming_ = nullptr;
    change.stop_s +=
        maybe_stop(head->kind->pick_stop_odds, pick_stops_, "pick", "the toolhead was not picked");
    mounted_ = head;
    fed_since_exchange_ = true;
  }
  if (other_filament) {
    change.exchange_s = exchange(*head, tool, change);
    change.stop_s += maybe_stop(head->kind->exchange_stop_odds, exchange_stops_, "exchange",
                                "the filament did not come");
  }
  // Nobody has to wait for what it was heated to before: without this, a wait that is missing would
  // be missed.
  if (other_head) head->wanted_c = std::max(head->wanted_c, head->target_c);
  head->last_tool = tool;
  draw_pace();
  truth_.changes.push_back(std::move(change));
}

void Player::limits(const CodeLine& code) {
  MotionKind& m = queue_.kind();
  const auto axes = [&](std::array<double, 4>& values) {
    for (std::size_t axis = 0; axis < 4; ++axis) {
      if (const auto given = code.value(kAxes[axis]); given && *given > 0) values[axis] = *given;
    }
  };
  if (code.number == 201) axes(m.max_accel_mm_s2);
  if (code.number == 203) axes(m.max_speed_mm_s);
  if (code.number == 204) {
    print_accel_ = code.value('P', code.value('S', print_accel_));
    travel_accel_ = code.value('T', code.value('S', travel_accel_));
    retract_accel_ = code.value('R', retract_accel_);
  }
  if (code.number == 205) {
    axes(m.jerk_mm_s);
    if (const auto given = code.value('J'); given && *given > 0) m.deviation_mm = *given;
  }
}

bool Player::command(const CodeLine& code) {
  if (code.letter == 'T') {
    select(code.number);
    return true;
  }
  if (code.letter == 'G') {
    switch (code.number) {
      case 0:
      case 1:
      case 2:
      case 3:
        move(code);
        return true;
      case 4:
        drain();
        dwell(code.value('S', 0.0) + code.value('P', 0.0) / 1000, "other");
        return true;
      case 20:
        unit_mm_ = 25.4;
        return true;
      case 21:
        unit_mm_ = 1;
        return true;
      case 28: {
        drain();
        dwell(d_.homing_s, "other");
        const bool all = !code.value('X') && !code.value('Y') && !code.value('Z');
        for (std::size_t axis = 0; axis < 3; ++axis) {
          if (all || code.value(kAxes[axis])) at_[axis] = 0;
        }
        return true;
      }
      case 90:
      case 91:
        absolute_ = code.number == 90;
        return true;
      case 92:
        for (std::size_t axis = 0; axis < 4; ++axis) {
          if (const auto given = code.value(kAxes[axis])) at_[axis] = *given * unit_mm_;
        }
        return true;
      default:
        return false;
    }
  }
  if (code.letter != 'M') return false;
  switch (code.number) {
    case 0:
    case 1:
    case 25:
    case 226:
    case 600:
      drain();
      stop(d_.stop_mean_s, "asked", "asked for by the job");
      return true;
    case 82:
    case 83:
      absolute_e_ = code.number == 82;
      return true;
    case 104:
    case 109: {
      Head* head = head_of(code);
      if (!head) throw GaveUp{"line " + std::to_string(truth_.lines) + ": there is no such heater"};
      const auto both = code.value('R');
      const auto target = both ? both : code.value('S');
      if (!target) return false;
      if (code.number == 104) {
        set(*head, *target);
      } else {
        wait(head, head->heater, *target, both.has_value());
      }
      return true;
    }
    case 140: {
      const double target = code.value('S', 0.0);
      in_order(d_.settings == "read", [this, target] { heaters_.back().set_target(target); });
      return true;
    }
    case 190:
      wait(nullptr, heaters_.size() - 1, code.value('S', code.value('R', 0.0)),
           code.value('R').has_value());
      return true;
    case 118:
      in_order(d_.echoes == "read", [this, text = code.text] { record_.say(now_s_, text); });
      return true;
    case 201:
    case 203:
    case 204:
    case 205:
      limits(code);
      return true;
    case 220:
      speed_factor_ = code.value('S', 100.0) / 100;
      return true;
    case 110:  // line numbers are not asked for again
      return true;
    case 400:
      drain();
      return true;
    default:
      return false;
  }
}

void Player::line(std::string_view text, const std::string& sent) {
  ++truth_.lines;
  while (!text.empty() && (text.back() == '\r' || text.back() == '\n')) text.remove_suffix(1);
  const CodeLine code = read_line(text);
  const std::size_t first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos || text[first] == ';') return;
  if (sent == "all" || (sent == "commands" && !is_move(code)))
    record_.say(now_s_, "> " + std::string(text));
  if (!command(code)) ++truth_.left_aside[name_of(code)];
}

Truth Player::finish(std::string gave_up) {
  if (gave_up.empty()) drain();
  truth_.gave_up = std::move(gave_up);
  truth_.end_s = now_s_;
  if (mounted_) truth_.uses[mounted_->use].to_s = now_s_;
  for (std::size_t i = waits_since_feed_; i < truth_.waits.size(); ++i) {
    if (print_began_ && truth_.waits[i].cause != "bed") truth_.waits[i].cause = "end";
  }
  for (const WaitTruth& w : truth_.waits) truth_.wait_by_cause[w.cause] += w.took_s;
  return std::move(truth_);
}

}  // namespace simulated
