// What the parts of the table of keys share in describing it. Internal to keys*.cpp.
#pragma once

#include <span>
#include <type_traits>
#include <utility>

#include "rules/keys.h"

namespace forewarm::rules {

// A choice among the values of an enum (or bool), kept in `field`.
template <auto field, class S>
constexpr Choice<S> choice(std::span<const Word> words) {
  using Kind = std::remove_cvref_t<decltype(std::declval<S>().*field)>;
  return {words, [](const S& from) { return static_cast<int>(from.*field); },
          [](S& into, int value) { into.*field = static_cast<Kind>(value); }};
}

}  // namespace forewarm::rules
