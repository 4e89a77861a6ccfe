// Whether the step sequences given between two uses are those that the rule file names there.
//
// Calls say what happens to each toolhead in the order of the text: it is selected or put away,
// gets a line of a sequence, feeds. When it feeds again, or the job is over, what it got since it
// last fed must be what the rules want, in that order, each on its side of the selects:
// `before_park` and `after_pick` for the same filament, `before_exchange` and `after_exchange` for
// another one, `at_last_use` where nothing comes any more; nothing before planning starts, and
// nothing where the policy is "as-sliced". Each must move as much filament, step by step, as its
// steps say. What is wrong is returned in words; empty if nothing is. What is made up for depends
// on temperatures, which are not known here: made_up() says what is to be judged.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "check/heads.h"
#include "rules/rules.h"

namespace forewarm::check {

class Sequences {
 public:
  Sequences(const rules::Rules& rules, const Heads& heads) : rules_(rules), heads_(heads) {}

  // The sequence whose line it is by its mark's reason; nullptr if it is of none.
  [[nodiscard]] const rules::Sequence* named(std::string_view reason) const;

  // `began`: the first print move has been.
  void select(const Selected& selected, int tool, bool began);
  // A line of `sequence` inserted for the mounted toolhead, which moves `fed_mm` of filament (0:
  // none); `makes_up`: by its mark, for what has oozed.
  void step(std::size_t head, const rules::Sequence& sequence, double fed_mm, bool makes_up);
  // The job feeds; `hot`: with the heater on.
  [[nodiscard]] std::string feeds(std::size_t head, int tool, bool began, bool hot);
  // The visit of `head` ends, and an exchange was all that happened in it.
  [[nodiscard]] std::string exchanged_only(std::size_t head);
  // What the sequence that led to the last feeds() or exchanged_only() makes up for, if the rules
  // name one there that does.
  struct MadeUp {
    const rules::Sequence* sequence = nullptr;
    double mm = 0;
  };
  [[nodiscard]] const MadeUp& made_up() const { return made_up_; }
  // The job is over.
  [[nodiscard]] std::string finish(std::size_t head) const;
  [[nodiscard]] std::size_t heads() const { return list_.size(); }

 private:
  struct SequenceRun {
    const rules::Sequence* sequence = nullptr;  // nullptr: selects lie here
    std::vector<double> fed_mm;                 // but for what is made up
    double made_up_mm = 0;
  };
  struct Head {
    std::vector<SequenceRun> given;  // since it last fed
    bool used = false, fed_since_began = false, hot = false;
    int tool = -1;           // that it last fed, or got
    bool exchanged = false;  // since then ...
    int incoming = -1;       // ... to this
    bool put_away = false, put_away_since_began = false;
    bool mounted_exchange = false, exchange_since_began = false;
  };
  Head& at(std::size_t head) {
    if (list_.size() <= head) list_.resize(head + 1);
    return list_[head];
  }
  [[nodiscard]] std::string judge(std::size_t head, const Head& h,
                                  const std::vector<std::string>& before,
                                  const std::vector<std::string>& after, bool selects) const;
  void set_made_up(const Head& h, const std::vector<std::string>& after);
  [[nodiscard]] std::string used_again(std::size_t head);

  const rules::Rules& rules_;
  const Heads& heads_;
  std::vector<Head> list_;
  MadeUp made_up_;
};

}  // namespace forewarm::check
