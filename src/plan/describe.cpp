#include "plan/describe.h"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <cstdint>
#include <string_view>

namespace forewarm::plan {

const char* name_of(Treatment treatment) {
  switch (treatment) {
    case Treatment::hold:
      return "hold";
    case Treatment::standby:
      return "standby";
    case Treatment::off:
      break;
  }
  return "off";
}

namespace {

using Cause = Rationale::Cause;
using Bound = Rationale::Bound;

// As fmt writes it with so many decimals, 0 or 1, and several times as fast where it is not near
// the middle between two such numbers: a plan has tens of thousands of them.
class Decimal {
 public:
  Decimal(double x, int decimals) {
    const double scale = decimals == 0 ? 1 : 10;
    const double scaled = std::abs(x) * scale;
    const double whole = std::floor(scaled);
    if (!(scaled < 1e9) || std::abs(scaled - whole - 0.5) < 1e-6) {
      slow_ = fmt::format("{:.{}f}", x, decimals);
      return;
    }
    const auto units = std::uint64_t(whole) + (scaled - whole > 0.5 ? 1 : 0);
    char* at = text_;
    if (std::signbit(x)) *at++ = '-';
    at = std::to_chars(at, text_ + sizeof text_, decimals == 0 ? units : units / 10).ptr;
    if (decimals != 0) {
      *at++ = '.';
      *at++ = char('0' + units % 10);
    }
    size_ = std::size_t(at - text_);
  }
  [[nodiscard]] std::string_view view() const {
    return slow_.empty() ? std::string_view(text_, size_) : std::string_view(slow_);
  }

 private:
  char text_[24];
  std::size_t size_ = 0;
  std::string slow_;
};

std::string_view view(std::string_view s) { return s; }
std::string_view view(const Decimal& d) { return d.view(); }

template <class... Parts>
std::string join(const Parts&... parts) {
  std::string out;
  out.reserve((view(parts).size() + ...));
  (out.append(view(parts)), ...);
  return out;
}

Decimal whole(double x) { return {x, 0}; }
Decimal tenths(double x) { return {x, 1}; }

std::string parked(const Rationale& b) {
  return b.after_pause ? join("picked ", whole(b.length_s), " s after the pause")
                       : join("parked ", whole(b.length_s), " s");
}

// It was not to wait hot over the pause, so that it may be late.
std::string heated_after_pause(const Rationale& b) {
  std::string out = fmt::format("heated right after the pause, from {:.0f} C", b.from_c);
  if (b.late_s > 0) out += fmt::format(", {:.1f} s late", b.late_s);
  return out;
}

std::string cause_of(const Rationale& b) {
  switch (b.cause) {
    case Cause::no_further_use:
      return "no further use";
    case Cause::timer:
      return "shorter than the timers";
    case Cause::policy_hold:
      return "policy hold";
    case Cause::small_dip:
      return join(parked(b), ", would dip only ", tenths(b.drop_c), " C");
    case Cause::too_short:
      return join(parked(b), ", too short to cool and heat again");
    case Cause::no_line:
      return join(parked(b), ", no line stands where its preheat would");
    case Cause::heated_at_once:
      if (b.after_pause) return heated_after_pause(b);
      return b.late_s > 0
                 ? fmt::format("heated at once from {:.0f} C, {:.1f} s late", b.from_c, b.late_s)
                 : fmt::format("heated at once from {:.0f} C", b.from_c);
    case Cause::over_off:
      return join(parked(b), ", more than ", whole(b.limit_s), " s");
    case Cause::over_hot_idle:
      return fmt::format("standby would be hot for {:.0f} s, limit {:.0f} s", b.hot_s, b.limit_s);
    case Cause::not_heated:
      return b.after_pause ? fmt::format("off over the pause, needed {:.0f} s after it", b.length_s)
                           : fmt::format("not yet heated, needed in {:.0f} s", b.length_s);
    case Cause::cheaper_hold:
      return join(parked(b), ", costs no more than to cool and heat again");
    case Cause::cheaper_off:
    case Cause::cheaper_standby:
      return fmt::format("{}, off costs {:.2g}, standby {:.2g}", parked(b), b.cost_off,
                         b.cost_standby);
    case Cause::within_off:
      return parked(b);
    case Cause::no_time_for_off:
      return join(parked(b), ", from off it would not be back in time");
    case Cause::warm_for_power:
      return join(parked(b), ", from cooler the heating limit would make wait");
  }
  return "";
}

std::string bound_of(const Rationale& b) {
  switch (b.bound) {
    case Bound::use:
      break;
    case Bound::exchange:
      return ", for the exchange";
    case Bound::line:
      return join(", ", tenths(b.earlier_s), " s early as no line stands later");
    case Bound::power:
      return join(", ", tenths(std::abs(b.earlier_s)), b.earlier_s > 0 ? " s early" : " s late",
                  " for the heating limit");
  }
  return "";
}

bool preheats(const Rationale& b) { return b.lead_s > 0 && b.cause != Cause::heated_at_once; }

}  // namespace

std::string describe(const Rationale& b) {
  std::string out = cause_of(b);
  if (b.cause == Cause::timer && b.limit_s > 0) {
    out = fmt::format("left alone for {:.0f} s", b.limit_s);
  }
  if (preheats(b)) {
    out +=
        join(", preheat ", tenths(b.lead_s), " s ahead from ", whole(b.from_c), " C", bound_of(b));
  }
  return out;
}

std::string describe_over_limit(const Figures& figures) {
  constexpr double kWorthAWordS = 0.5;
  std::string out;
  if (figures.over_limit_own_s > kWorthAWordS) {
    out = fmt::format(
        "what the job itself heats exceeds heating_limit_w for {:.0f} s, and stays as it is",
        figures.over_limit_own_s);
  }
  if (figures.over_limit_s > kWorthAWordS) {
    if (!out.empty()) out += "; ";
    out += fmt::format(
        "the plan exceeds heating_limit_w for {:.0f} s: no order of preheats was found that keeps "
        "it",
        figures.over_limit_s);
  }
  return out;
}

std::string describe(const GapAction& action, const Rationale& b) {
  switch (action.kind) {
    case GapAction::Kind::hold:
      return "hold: " + cause_of(b);
    case GapAction::Kind::standby:
      return "standby: " + cause_of(b);
    case GapAction::Kind::off:
      return "off: " + cause_of(b);
    case GapAction::Kind::timer_standby:
      return fmt::format("standby by timer after {:.0f} s", action.after_s);
    case GapAction::Kind::timer_off:
      return fmt::format("off by timer after {:.0f} s", action.after_s);
    case GapAction::Kind::preheat:
      break;
  }
  if (!preheats(b)) return "preheat: " + cause_of(b);
  return join("preheat: ", tenths(b.lead_s), " s ahead, from ", whole(b.from_c), " C to ",
              whole(b.to_c), " C in ", tenths(b.heat_s), " s", bound_of(b));
}

namespace {

// "makes up 0.62 mm for 3.1 min hot"
std::string made_up(const Basis& basis, std::size_t sequence, double mm) {
  return fmt::format(", makes up {:.2f} mm for {:.1f} min hot", mm, basis.hot_s(sequence) / 60);
}

}  // namespace

void describe(Command& c, const Problem& problem, const Decided& decided) {
  const Origin& origin = c.origin;
  const rules::Dialect& dialect = problem.rules.dialect;
  switch (origin.kind) {
    case Origin::Kind::start:
      c.raw = dialect.job_start[origin.part];
      c.reason = "planning starts here";
      break;
    case Origin::Kind::end:
      c.raw = dialect.job_end[origin.part];
      c.reason = "after the last use";
      break;
    case Origin::Kind::action:
      c.reason = describe(decided.decisions[origin.of].actions[origin.part],
                          decided.decisions[origin.of].rationale);
      break;
    case Origin::Kind::step: {
      const Steps& of = problem.sequences[origin.of];
      const job::StepLine& line = decided.basis->block(origin.of).lines[origin.part];
      c.raw = line.text;
      c.reason.reserve(of.name.size() + 2 + of.why.size());
      c.reason.append(of.name).append(": ").append(of.why);
      if (line.made_up_mm > 0) {
        c.reason += made_up(*decided.basis, origin.of, line.made_up_mm);
      }
      break;
    }
    case Origin::Kind::lower:
      c.raw = problem.sequences[origin.of].lower.lines[origin.part].text;
      c.reason = fmt::format("down after the select, from the lift of {}",
                             problem.sequences[origin.of].name);
      break;
    case Origin::Kind::exchange:
      c.reason = fmt::format("wait: hot before the exchange to T{}", c.tool);
      break;
    case Origin::Kind::hotter:
      c.reason = "exchange at the hotter of the two";
      break;
    case Origin::Kind::print:
      c.reason = fmt::format("wait: T{} prints at {:g} C", c.tool, c.temp_c);
      break;
    case Origin::Kind::back:
      c.reason = "back to the target of the next use";
      break;
    case Origin::Kind::cooling:
      c.reason = "off: the job waits for it to cool down";
      break;
    case Origin::Kind::cooled_down:
      c.reason = "off: it has cooled down, no further use";
      break;
    case Origin::Kind::pause:
      c.reason =
          join(c.temp_c > 0 ? "standby" : "off", ": the job pauses, for nobody knows how long");
      break;
    case Origin::Kind::echo_start:
    case Origin::Kind::echo_leave:
    case Origin::Kind::echo_there:
    case Origin::Kind::echo_ready:
    case Origin::Kind::echo_end:
      break;  // describe_echo()
  }
}

}  // namespace forewarm::plan
