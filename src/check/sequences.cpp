#include "check/sequences.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <utility>

#include "rewrite/marks.h"

namespace forewarm::check {

namespace {

// Whether nothing of it is left where nothing is to be made up for.
bool only_makes_up(const rules::Sequence& sequence) {
  using Action = rules::Step::Action;
  return sequence.makes_up() &&
         std::all_of(sequence.steps.begin(), sequence.steps.end(), [](const rules::Step& s) {
           return s.action == Action::make_up || s.action == Action::back ||
                  (s.action == Action::feed && s.amount == 0);
         });
}

}  // namespace

const rules::Sequence* Sequences::named(std::string_view reason) const {
  if (reason.substr(0, rewrite::kStep.size()) != rewrite::kStep) return nullptr;
  reason.remove_prefix(rewrite::kStep.size());
  const rules::Sequence* found = nullptr;
  for (const rules::Sequence& s : rules_.steps) {
    if (reason.substr(0, s.name.size()) != s.name) continue;
    if (reason.substr(s.name.size(), rewrite::kStepEnd.size()) != rewrite::kStepEnd) continue;
    if (found == nullptr || s.name.size() > found->name.size()) found = &s;
  }
  return found;
}

void Sequences::select(const Selected& s, int tool, bool began) {
  if (s.redundant) return;
  const auto part = [](Head& h) {
    if (h.given.empty() || h.given.back().sequence != nullptr) h.given.emplace_back();
  };
  if (s.from != kNone && s.from != s.to) {
    Head& from = at(s.from);
    part(from);
    if (!from.put_away) from.put_away_since_began = began;
    from.put_away = true;
  }
  if (s.to == kNone) return;
  Head& to = at(s.to);
  part(to);
  if (!s.exchange) return;
  to.exchanged = true;
  to.incoming = tool;
  to.exchange_since_began = began;
  to.mounted_exchange = !to.put_away;
}

void Sequences::step(std::size_t head, const rules::Sequence& sequence, double fed_mm,
                     bool makes_up) {
  Head& h = at(head);
  if (h.given.empty() || h.given.back().sequence != &sequence) h.given.push_back({&sequence, {}});
  SequenceRun& run = h.given.back();
  if (makes_up && sequence.makes_up()) {
    run.made_up_mm += fed_mm;
  } else if (fed_mm != 0) {
    run.fed_mm.push_back(fed_mm);
  }
}

std::string Sequences::judge(std::size_t head, const Head& h,
                             const std::vector<std::string>& before,
                             const std::vector<std::string>& after, bool selects) const {
  std::string is, wanted, least;  // least: with nothing to make up for
  const auto say = [](std::string& text, std::string_view what) {
    if (!text.empty()) text += ", ";
    text += what;
  };
  for (const SequenceRun& g : h.given) say(is, g.sequence == nullptr ? "select" : g.sequence->name);
  const bool off = rules_.gap.policy == rules::Policy::as_sliced;
  const auto want = [&](const std::vector<std::string>& names) {
    for (const std::string& name : names) {
      const rules::Sequence* s = off ? nullptr : rules_.sequence(name);
      if (s == nullptr || s->steps.empty()) continue;
      say(wanted, name);
      if (!only_makes_up(*s)) say(least, name);
    }
  };
  want(before);
  if (selects) {
    say(wanted, "select");
    say(least, "select");
  }
  want(after);
  if (is != wanted && is != least) {
    return fmt::format("{}: got {}; the rules want {}", heads_[head].name, is, wanted);
  }
  for (const SequenceRun& g : h.given) {
    if (g.sequence == nullptr) continue;
    std::size_t i = 0;
    bool same = true;
    for (const rules::Step& step : g.sequence->steps) {
      if (step.action != rules::Step::Action::feed || step.amount == 0) continue;
      same = same && i < g.fed_mm.size() && std::abs(g.fed_mm[i] - step.amount) <= 1e-6;
      ++i;
    }
    if (same && i == g.fed_mm.size()) continue;
    return fmt::format("{}: {} does not feed what its steps say", heads_[head].name,
                       g.sequence->name);
  }
  return {};
}

void Sequences::set_made_up(const Head& h, const std::vector<std::string>& after) {
  made_up_ = {};
  if (after.empty() || rules_.gap.policy == rules::Policy::as_sliced) return;
  const rules::Sequence* sequence = rules_.sequence(after.back());
  if (sequence == nullptr || !sequence->makes_up()) return;
  made_up_.sequence = sequence;
  for (const SequenceRun& g : h.given) {
    if (g.sequence == sequence) made_up_.mm += g.made_up_mm;
  }
}

std::string Sequences::used_again(std::size_t head) {
  Head& h = at(head);
  const rules::Toolhead& toolhead = heads_[head];
  const bool selects =
      !h.given.empty() && (h.put_away || h.exchanged || h.given.front().sequence == nullptr);
  std::vector<std::string> before, after;
  if (h.exchanged) {
    const bool parting =
        h.used && (h.mounted_exchange ? h.exchange_since_began : h.put_away_since_began && h.hot);
    if (parting) before.push_back(rules_.filament(h.tool).before_exchange);
    if (h.exchange_since_began) after.push_back(rules_.filament(h.incoming).after_exchange);
  } else if (h.used && h.hot && h.put_away && h.put_away_since_began) {
    // What was not tucked need not come back, but what oozed is made up for.
    const rules::Sequence* picks = rules_.sequence(toolhead.after_pick);
    before.push_back(toolhead.before_park);
    if (!toolhead.before_park.empty() || (picks != nullptr && picks->makes_up())) {
      after.push_back(toolhead.after_pick);
    }
  }
  std::string wrong = judge(head, h, before, after, selects);
  set_made_up(h, after);
  const bool fed_since_began = h.fed_since_began;
  h = Head{};
  h.used = true;
  h.fed_since_began = fed_since_began;
  return wrong;
}

std::string Sequences::feeds(std::size_t head, int tool, bool began, bool hot) {
  std::string wrong = used_again(head);
  at(head).tool = tool;
  at(head).fed_since_began |= began;
  at(head).hot = hot;
  return wrong;
}

std::string Sequences::exchanged_only(std::size_t head) {
  Head& h = at(head);
  const int tool = h.incoming;
  // What comes after that which belongs to the exchange is for the next one already.
  auto cut = h.given.end();
  while (cut != h.given.begin() && (cut - 1)->sequence != nullptr) --cut;
  const rules::Sequence* after = rules_.sequence(rules_.filament(tool).after_exchange);
  if (cut != h.given.end() && after != nullptr && cut->sequence == after) ++cut;
  std::vector<SequenceRun> rest(std::make_move_iterator(cut),
                                std::make_move_iterator(h.given.end()));
  h.given.erase(cut, h.given.end());
  std::string wrong = used_again(head);
  at(head).given = std::move(rest);
  at(head).tool = tool;
  at(head).fed_since_began = true;
  at(head).hot = true;
  return wrong;
}

std::string Sequences::finish(std::size_t head) const {
  const Head& h = list_[head];
  if (!h.used) return judge(head, h, {}, {}, !h.given.empty());
  const bool given = h.hot && (h.put_away ? h.put_away_since_began : h.fed_since_began);
  const std::string name =
      given ? rules::at_last_use(heads_[head], rules_.filament(h.tool)) : std::string();
  bool selects = false;
  for (const SequenceRun& g : h.given) selects |= g.sequence == nullptr;
  return judge(head, h, {name}, {}, selects);
}

}  // namespace forewarm::check
