// Words in messages and in TOML: quoted, and the known word that an unknown one is most likely a
// slip for.
#pragma once

#include <algorithm>
#include <iterator>
#include <optional>
#include <string>
#include <string_view>

#include "base/error.h"

namespace forewarm::rules {

// Insertions, removals and replacements of bytes, and swaps of neighbours, that lead from one word
// to the other, no byte being touched twice: the optimal string alignment distance.
[[nodiscard]] std::size_t edit_distance(std::string_view a, std::string_view b);

// The one of `known` that `word` is most likely a slip for, if any is near enough.
template <class Range>
[[nodiscard]] std::optional<std::string> nearest(std::string_view word, const Range& known) {
  constexpr std::size_t kLongestWord = 200;  // longer ones are no words, and would take long
  std::optional<std::string> best;
  if (word.size() > kLongestWord) return best;
  std::size_t best_distance = word.size() / 2 + 2;  // farther than this is another word altogether
  for (const auto& candidate : known) {
    const std::size_t longer = std::max(word.size(), std::size(candidate));
    if (longer - std::min(word.size(), std::size(candidate)) >= best_distance) continue;
    const std::size_t distance = edit_distance(word, candidate);
    if (distance < best_distance) {
      best_distance = distance;
      best = std::string(candidate);
    }
  }
  return best;
}

// nearest(), unless the two words have nothing in common: that is no slip, however short they are.
template <class Range>
[[nodiscard]] std::optional<std::string> meant(std::string_view word, const Range& known) {
  auto near = nearest(word, known);
  if (near && edit_distance(word, *near) >= std::max(word.size(), near->size())) near.reset();
  return near;
}

// `word` in double quotes, safe to print.
[[nodiscard]] std::string quoted(std::string_view word);

// A string as TOML has it: a basic one; a pattern in single quotes, where it can be.
[[nodiscard]] std::string toml_string(std::string_view text);
[[nodiscard]] std::string toml_pattern(std::string_view text);

// A hint: 'did you mean "x"?', or a list of what there is.
template <class Range>
[[nodiscard]] std::string suggest(std::string_view word, const Range& known) {
  if (const auto near = meant(word, known)) return "did you mean " + rules::quoted(*near) + "?";
  std::string all;
  for (const auto& candidate : known) {
    if (!all.empty()) all += ", ";
    if (all.size() > 300) return "known here: " + all + "...";
    all += printable(candidate);
  }
  return all.empty() ? all : "known here: " + all;
}

}  // namespace forewarm::rules
