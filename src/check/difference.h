// Names what it means where the two texts differ without a mark.
//
// A line is judged by the most that it does: it moves filament, selects, or something else. A move
// that is lost here and added a little further on, or the other way round, has changed places.
// Lifetime: the findings outlive it.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "check/block.h"
#include "check/finding.h"
#include "check/heads.h"
#include "check/pairing.h"

namespace forewarm::check {

// A line's text as findings quote it.
[[nodiscard]] std::string shown(std::string_view text);

class Difference {
 public:
  explicit Difference(Findings& findings) : findings_(findings) {}

  // `original` and `rewritten` are the lines of `step`, read; empty where it has none. False: they
  // are comments, or the same.
  bool name(const Step& step, const InterpretedLine& original, const InterpretedLine& rewritten,
            std::uint64_t line);
  // A line of the original is disabled that is more than a target.
  void disabled(const InterpretedLine& original, std::string_view text, std::uint64_t line);

 private:
  void lost_or_added(const InterpretedLine& line, bool lost, std::uint64_t number,
                     const std::string& text);

  Findings& findings_;
  Displaced moves_{Pairing::kWindow};
};

}  // namespace forewarm::check
