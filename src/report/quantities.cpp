#include "report/quantities.h"

#include <cmath>

#include "report/format.h"

namespace forewarm::report {

namespace {

int digits(const Amount& amount) { return amount.unit == Unit::count ? 0 : amount.decimals; }

}  // namespace

std::string_view unit_name(Unit unit) {
  switch (unit) {
    case Unit::seconds:
      return "s";
    case Unit::watt_hours:
      return "Wh";
    case Unit::watts:
      return "W";
    case Unit::grams:
      return "g";
    case Unit::mm3:
      return "mm3";
    case Unit::celsius:
      return "C";
    case Unit::percent:
      return "%";
    case Unit::clock:
    case Unit::count:
      break;
  }
  return "";
}

std::string text_of(const Amount& amount) {
  if (amount.unit == Unit::seconds) return duration(amount.value);
  if (amount.unit == Unit::clock) return clock(amount.value);
  const std::string_view unit = unit_name(amount.unit);
  return number(amount.value, digits(amount)) + (unit.empty() ? "" : " ") + std::string(unit);
}

std::string text_of_number(const Amount& amount) {
  if (amount.unit == Unit::clock) return clock(amount.value);
  return number(amount.value, digits(amount));
}

std::string signed_text_of(const Amount& amount) {
  if (amount.unit == Unit::seconds) {
    if (std::abs(amount.value) < kSomeWaitS) return "0 s";
    return (amount.value < 0 ? "-" : "+") + duration(std::abs(amount.value));
  }
  const std::string out = text_of(amount);
  const std::string digits_alone = text_of_number(amount);
  const bool signless =
      out[0] == '-' || digits_alone.find_first_of("123456789") == std::string::npos;
  return signless ? out : '+' + out;
}

}  // namespace forewarm::report
