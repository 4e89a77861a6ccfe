#include "plan/words.h"

#include <fmt/format.h>

#include <cmath>

namespace forewarm::plan {

namespace {

using Cause = Because::Cause;
using Bound = Because::Bound;

std::string cause_of(const Because& b) {
  switch (b.cause) {
    case Cause::no_further_use:
      return "no further use";
    case Cause::timer:
      return "shorter than the timers";
    case Cause::policy_hold:
      return "policy hold";
    case Cause::small_dip:
      return fmt::format("parked {:.0f} s, would dip only {:.1f} C", b.length_s, b.drop_c);
    case Cause::too_short:
      return fmt::format("parked {:.0f} s, too short to cool and heat again", b.length_s);
    case Cause::no_line:
      return fmt::format("parked {:.0f} s, no line stands where its preheat would", b.length_s);
    case Cause::heated_at_once:
      return b.late_s > 0
                 ? fmt::format("heated at once from {:.0f} C, {:.1f} s late", b.from_c, b.late_s)
                 : fmt::format("heated at once from {:.0f} C", b.from_c);
    case Cause::over_off:
      return fmt::format("parked {:.0f} s, more than {:.0f} s", b.length_s, b.limit_s);
    case Cause::over_hot_idle:
      return fmt::format("standby would be hot for {:.0f} s, limit {:.0f} s", b.hot_s, b.limit_s);
    case Cause::not_heated:
      return fmt::format("not yet heated, needed in {:.0f} s", b.length_s);
    case Cause::cheaper_hold:
      return fmt::format("parked {:.0f} s, costs no more than to cool and heat again", b.length_s);
    case Cause::cheaper_off:
    case Cause::cheaper_standby:
      return fmt::format("parked {:.0f} s, off costs {:.2g}, standby {:.2g}", b.length_s,
                         b.cost_off, b.cost_standby);
    case Cause::within_off:
      return fmt::format("parked {:.0f} s", b.length_s);
    case Cause::no_time_for_off:
      return fmt::format("parked {:.0f} s, from off it would not be back in time", b.length_s);
  }
  return "";
}

std::string bound_of(const Because& b) {
  switch (b.bound) {
    case Bound::use:
      break;
    case Bound::exchange:
      return ", for the exchange";
    case Bound::line:
      return fmt::format(", {:.1f} s early as no line stands later", b.earlier_s);
    case Bound::power:
      return fmt::format(", {:.1f} s {} for the heating limit", std::abs(b.earlier_s),
                         b.earlier_s > 0 ? "early" : "late");
  }
  return "";
}

bool preheats(const Because& b) { return b.lead_s > 0 && b.cause != Cause::heated_at_once; }

}  // namespace

std::string words_of(const Because& b) {
  std::string out = cause_of(b);
  if (b.cause == Cause::timer && b.limit_s > 0) {
    out = fmt::format("left alone for {:.0f} s", b.limit_s);
  }
  if (preheats(b)) {
    out += fmt::format(", preheat {:.1f} s ahead from {:.0f} C{}", b.lead_s, b.from_c, bound_of(b));
  }
  return out;
}

std::string words_of(const GapAction& action, const Because& b) {
  switch (action.what) {
    case GapAction::What::hold:
      return "hold: " + cause_of(b);
    case GapAction::What::standby:
      return "standby: " + cause_of(b);
    case GapAction::What::off:
      return "off: " + cause_of(b);
    case GapAction::What::timer_standby:
      return fmt::format("standby by timer after {:.0f} s", action.after_s);
    case GapAction::What::timer_off:
      return fmt::format("off by timer after {:.0f} s", action.after_s);
    case GapAction::What::preheat:
      break;
  }
  if (!preheats(b)) return "preheat: " + cause_of(b);
  return fmt::format("preheat: {:.1f} s ahead, from {:.0f} C to {:.0f} C in {:.1f} s{}", b.lead_s,
                     b.from_c, b.to_c, b.heat_s, bound_of(b));
}

}  // namespace forewarm::plan
