// The rule file's own patterns over a job's lines: [[recognise]], [[duration]], and rests_at of
// [motion].
//
// All patterns are in one RE2::Set, so a line costs one pass however many there are. Ordinary
// moves (a G0..G3 word first) are not tried unless a pattern could want them: callers ask
// wants_moves() once and skip plain moves when it is false. RE2 matches in linear time.
//
// Lifetime: keeps its own copies. Not copyable; movable. const methods are thread-safe.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string_view>
#include <vector>

#include "base/error.h"
#include "rules/rules.h"

namespace forewarm::rules {

struct Recognised {
  Recognise::As as = Recognise::As::change;
  std::optional<int> tool, heater;
  std::optional<double> temp;                // degrees Celsius
  std::size_t tool_at = 0, tool_length = 0;  // where `tool` stands in the line; 0: it does not
  std::size_t heater_at = 0, heater_length = 0;
  // Whether it switches a heater off, or puts a toolhead away.
  [[nodiscard]] bool is_off() const {
    const bool heats = as == Recognise::As::set || as == Recognise::As::wait;
    return (heats && temp.value_or(0) <= 0) ||
           (as == Recognise::As::change && tool.value_or(-1) < 0);
  }
};

class Recogniser {
 public:
  // REQUIRES: patterns that load() has accepted.
  [[nodiscard]] static Result<Recogniser> make(const std::vector<Recognise>& patterns,
                                               const std::vector<Duration>& durations,
                                               const std::vector<std::string>& rests_at = {});
  [[nodiscard]] static Result<Recogniser> make(const Rules& rules);
  Recogniser(Recogniser&&) noexcept;
  Recogniser& operator=(Recogniser&&) noexcept;
  ~Recogniser();

  [[nodiscard]] bool empty() const;
  // Whether some pattern might fit an ordinary move line, so that moves must be asked too. False is
  // certain: then none fits any line that begins with G0 to G3, whether or not it moves.
  [[nodiscard]] bool wants_moves() const;
  // Appends to `found` what `line` (without its line ending; comments included) says, in the rule
  // file's order. Sets `seconds` to those of the first matching duration, or leaves it alone. True:
  // motion comes to rest there, by rests_at. `hits`, if given, counts the lines that each pattern
  // fits: those of [[recognise]] in order, then of [[duration]], then rests_at. It grows as needed.
  bool match(std::string_view line, std::vector<Recognised>& found, std::optional<double>& seconds,
             std::vector<std::uint64_t>* hits = nullptr) const;

 private:
  struct Impl;
  explicit Recogniser(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

// The limit for all patterns of a file together, in RE2's instructions. An ordinary pattern has a
// dozen; a line that makes RE2 give up its automata goes through all of them, byte by byte.
constexpr std::size_t kMaxInstructions = 200'000;

// Checks one pattern: it compiles, and has the groups that `as` needs ("change": tool; "set" and
// "wait": temp and one of heater, tool; a fixed tool stands for the group). The message is for a
// located error. `room`, if given, is the rest of kMaxInstructions: the pattern has to fit into it,
// and is subtracted.
[[nodiscard]] std::optional<std::string> why_unusable(const Recognise& pattern,
                                                      std::size_t* room = nullptr);
[[nodiscard]] std::optional<std::string> why_unusable(const Duration& pattern,
                                                      std::size_t* room = nullptr);

}  // namespace forewarm::rules
