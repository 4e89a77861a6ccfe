#include "review/review.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "review/pieces.h"
#include "review/statistics.h"

namespace forewarm::review {

namespace {

// A heater that became warm so shortly before its change was waited for until then: what firmware
// asks it to stay warm, and the record's own coarseness. Common practice, no source.
constexpr double kSettledS = 12;
// A shorter stretch tells more of the record's coarseness than of its moves. Common practice, no
// source.
constexpr double kLeastStretchS = 5;
// A stretch that is off by more than so many of its deviations, and by stop_s, holds a stop.
constexpr double kManyDeviations = 4;

double quantile(std::vector<double> values, double p) {
  if (values.empty()) return 0;
  const auto at = values.begin() + std::ptrdiff_t(p * double(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

class Reviewer {
 public:
  Reviewer(const Schedule& schedule, const rules::Rules& rules, const std::vector<Journal>& records)
      : schedule_(schedule), rules_(rules), records_(records) {}

  Review make() {
    Cut found = cut(schedule_, records_);
    prints_ = std::move(found.prints);
    pieces_ = std::move(found.pieces);
    out_.prints = prints_.size();
    out_.by_selects = found.by_selects;
    out_.unknown_echoes = found.unknown_echoes;
    out_.missing_echoes = found.missing_echoes;
    find_ends();
    find_said_stops();
    fit_scale();
    find_long_changes();
    find_warm_wait();
    find_park_pick_factor();
    find_sequences();
    seen_.resize(prints_.size());
    for (std::size_t p = 0; p < prints_.size(); ++p) begin_changes(p);
    for (Piece& piece : pieces_) account(piece);
    for (auto& changes : seen_) {
      for (ChangeSeen& c : changes) out_.changes.push_back(std::move(c));
    }
    std::sort(out_.stops.begin(), out_.stops.end(), [](const StopSeen& a, const StopSeen& b) {
      return a.record != b.record ? a.record < b.record : a.at_s < b.at_s;
    });
    add_statistics(schedule_, rules_, out_);
    add_sequence_stats();
    return std::move(out_);
  }

 private:
  // A job has one visit more than it has selects.
  void find_ends() {
    const auto& selects = schedule_.selects;
    for (const Print& print : prints_) {
      PrintEnd& end = out_.ends.emplace_back();
      end.record = print.record;
      for (std::size_t i = selects.size(); i > 0 && end.visits == 0; --i) {
        const auto& change = selects[i - 1].change;
        if (!change || *change >= print.changes.size()) continue;
        const HeardChange& m = print.changes[*change];
        if (m.heard() || m.select != nullptr) end.visits = i;
      }
      const bool by_selects = print.start == nullptr && print.end == nullptr &&
                              (!schedule_.echoes || records_[print.record].heard.empty());
      end.whole = print.end != nullptr || (by_selects && end.visits == selects.size());
      if (end.whole) end.visits = selects.size() + 1;
      end.fingerprint = fingerprint(print);
    }
  }

  // FNV-1a, of 64 bits (from memory), over milliseconds.
  [[nodiscard]] static std::uint64_t fingerprint(const Print& print) {
    std::uint64_t hash = 0xcbf29ce484222325;
    std::optional<double> first_s;
    const auto add = [&](std::int64_t number) {
      for (int byte = 0; byte < 8; ++byte) {
        hash = (hash ^ (std::uint64_t(number) >> (8U * unsigned(byte)) & 0xffU)) * 0x100000001b3;
      }
    };
    const auto moment = [&](std::int64_t what, std::optional<double> time_s) {
      if (!time_s) return;
      if (!first_s) first_s = time_s;
      add(what);
      add(std::llround(1000 * (*time_s - *first_s)));
    };
    const auto heard = [&](std::int64_t what, const Heard* h) {
      moment(what, h != nullptr ? std::optional(h->at.time_s) : std::nullopt);
    };
    heard(0, print.start);
    for (std::size_t i = 0; i < print.changes.size(); ++i) {
      const HeardChange& m = print.changes[i];
      const auto what = std::int64_t(4 * i);
      heard(what + 1, m.leave);
      heard(what + 2, m.there);
      heard(what + 3, m.ready);
      if (m.select != nullptr) moment(what + 4, m.select->select.time_s);
    }
    heard(-1, print.end);
    return hash;
  }

  // ------------------------------------------------------------------------------------- stops

  void found_stop(Piece& piece, double at_s, double seconds) {
    const std::size_t count = schedule_.changes.size();
    StopSeen stop{.record = prints_[piece.print].record, .at_s = at_s};
    stop.duration_s = seconds;
    piece.stop_s += seconds;
    std::size_t change = piece.change;
    if (piece.kind == Piece::Kind::change) {
      stop.after = schedule_.changes[change].exchanges() ? StopSeen::After::exchange
                                                         : StopSeen::After::park_pick;
    } else {
      const bool waits = piece.kind == Piece::Kind::wait;
      stop.after = waits ? StopSeen::After::waiting : StopSeen::After::moving;
      if (!waits && change > 0) --change;  // in the stretch before it
    }
    if (change < count) stop.line = schedule_.changes[change].line;
    out_.stops.push_back(stop);
  }

  void find_said_stops() {
    for (Piece& piece : pieces_) {
      const Journal& journal = records_[prints_[piece.print].record];
      for (const Standstill& s : journal.stops) {
        if (s.part != piece.part || !s.to_s) continue;
        const double from_s = std::max(s.from_s, piece.from_s);
        const double to_s = std::min(*s.to_s, piece.to_s);
        if (to_s <= from_s) continue;
        found_stop(piece, from_s, to_s - from_s);
        piece.stop_said = true;
      }
    }
  }

  // Those that nobody has spoken of.
  void find_long_changes() {
    const double least_s = rules_.record.stop_s;
    for (Piece& piece : pieces_) {
      const double scaled_s = piece.job_s * out_.scale.factor.value;
      double allowed_s = least_s;
      double expected_s = piece.job_s;
      if (piece.kind == Piece::Kind::wait) continue;  // a heater may take long
      if (piece.kind == Piece::Kind::stretch) {
        if (piece.waits > 0) continue;
        expected_s = scaled_s;
        allowed_s = std::max(least_s, kManyDeviations * out_.scale.spread * scaled_s);
      }
      const double over_s = piece.took_s() - expected_s;
      if (over_s > allowed_s) found_stop(piece, piece.from_s + expected_s, over_s);
    }
  }

  // ------------------------------------------------------------------------------------- scale

  [[nodiscard]] static bool tells_scale(const Piece& piece) {
    return piece.kind == Piece::Kind::stretch && piece.rests && piece.waits == 0 &&
           piece.stop_s == 0 && piece.job_s >= kLeastStretchS;
  }

  void fit_scale() {
    if (!schedule_.feeds) return;
    std::vector<double> ratios;
    for (const Piece& piece : pieces_) {
      if (tells_scale(piece)) ratios.push_back(piece.took_s() / piece.job_s);
    }
    if (ratios.size() < 2) return;
    // A stop in one of them must not pass for slow moves; but what is as far off as others are is
    // none, or all that is left would be what was fast.
    const double middle = median(ratios);
    std::vector<double> distances;
    for (const double r : ratios) distances.push_back(std::abs(r - middle));
    const double usual = sd_by_median(std::move(distances));
    const auto stopped = [&](const Piece& piece) {
      const double over_s = piece.took_s() - middle * piece.job_s;
      return over_s > std::max(rules_.record.stop_s, kManyDeviations * usual * piece.job_s);
    };
    double mm = 0, ma = 0, sum_m = 0;
    std::size_t n = 0;
    const auto each = [&](auto visit) {
      for (const Piece& piece : pieces_) {
        if (tells_scale(piece) && !stopped(piece)) visit(piece.job_s, piece.took_s());
      }
    };
    each([&](double m, double a) {
      mm += m * m;
      ma += m * a;
      sum_m += m;
      ++n;
    });
    if (n < 2) return;
    Scale& scale = out_.scale;
    scale.stretches = n;
    scale.factor.value = ma / mm;
    // By what each is off itself, and more so the more the fit hangs on it (MacKinnon & White, J.
    // Econometrics 29, 1985, HC3): long stretches are off by more seconds than short ones.
    double square = 0, relative = 0;
    each([&](double m, double a) {
      const double off = a - scale.factor.value * m;
      const double pull = m * off / std::max(1 - m * m / mm, 0.01);
      square += pull * pull;
      const double share = off / (scale.factor.value * m);
      relative += m * share * share;
    });
    scale.factor.sd = std::sqrt(square) / mm;
    // As many stretches of one length as these are worth: few that are long decide.
    scale.worth = sum_m * sum_m / mm;
    const double freedom = std::max(scale.worth - 1, 1e-3);
    scale.spread = std::sqrt(relative / sum_m * (1 + 1 / freedom));
  }

  // What a piece took beyond its moves.
  [[nodiscard]] double beyond_moves_s(const Piece& piece) const {
    return piece.took_s() - piece.job_s * out_.scale.factor.value;
  }

  void find_warm_wait() {
    std::vector<double> each;
    for (const Piece& piece : pieces_) {
      if (piece.kind != Piece::Kind::wait || piece.waits == 0) continue;
      each.push_back(std::max(0.0, beyond_moves_s(piece)) / double(piece.waits));
    }
    out_.warm_wait_s = std::min(quantile(each, kWarmQuantile), kMostWarmWaitS);
  }

  // Where a change both parks and exchanges, its parking takes what that does elsewhere.
  void find_park_pick_factor() {
    double took_s = 0, planned_s = 0;
    for (const Piece& piece : pieces_) {
      if (piece.kind != Piece::Kind::change || !piece.rests || piece.stop_s > 0) continue;
      const PlannedChange& c = schedule_.changes[piece.change];
      if (c.exchanges()) continue;
      took_s += piece.took_s();
      planned_s += c.takes_s();
    }
    if (planned_s > 0) park_pick_factor_ = took_s / planned_s;
  }

  // ---------------------------------------------------------------------------------- accounts

  void begin_changes(std::size_t p) {
    const Print& print = prints_[p];
    std::optional<double> zero_s;
    std::size_t part = 0;
    if (print.start != nullptr) {
      zero_s = print.start->at.time_s - schedule_.start_s;
      part = print.start->at.part;
    }
    for (std::size_t i = 0; i < print.changes.size(); ++i) {
      const PlannedChange& c = schedule_.changes[i];
      const HeardChange& m = print.changes[i];
      ChangeSeen& seen = seen_[p].emplace_back();
      seen.record = print.record;
      seen.print = p;
      seen.change = i;
      std::optional<double> at_s;
      std::size_t in_part = 0;
      if (m.leave != nullptr) {
        at_s = m.leave->at.time_s;
        in_part = m.leave->at.part;
      } else if (m.select != nullptr) {
        at_s = m.select->select.time_s;
        in_part = m.select->part;
      }
      if (!at_s) continue;
      if (!zero_s) {
        zero_s = *at_s - c.at_s;
        part = in_part;
      }
      if (in_part == part) seen.at_s = *at_s - *zero_s;
      const auto temperature = [&](const Heard* h) -> std::optional<double> {
        if (h == nullptr || c.head >= h->at.temp_c.size()) return std::nullopt;
        const double temp_c = h->at.temp_c[c.head];
        return std::isfinite(temp_c) ? std::optional(temp_c) : std::nullopt;
      };
      seen.at_need_c = temperature(c.waits_before > 0 ? m.leave : m.there);
      seen.fed_c = temperature(m.ready != nullptr ? m.ready : m.there);
    }
    PrintEnd& end = out_.ends[p];
    end.zero_s = zero_s;
    end.part = part;
    if (print.end != nullptr && print.end->at.part == part) end.end_s = print.end->at.time_s;
  }

  void account(Piece& piece) {
    CauseTimes &planned = out_.planned, &actual = out_.actual;
    planned.waiting_s += piece.wait_s;
    actual.stops_s += piece.stop_s;
    if (piece.kind == Piece::Kind::change) {
      const PlannedChange& c = schedule_.changes[piece.change];
      ChangeSeen& seen = seen_[piece.print][piece.change];
      const double takes_s = c.takes_s();
      const double park_pick_s = takes_s - c.exchange_s;
      planned.park_pick_s += park_pick_s;
      planned.exchange_s += c.exchange_s;
      const double of_it_s = c.exchanges()
                                 ? std::min(park_pick_s * park_pick_factor_, piece.took_s())
                                 : piece.took_s();
      actual.park_pick_s += of_it_s;
      actual.exchange_s += piece.took_s() - of_it_s;
      seen.took_s = piece.to_s - piece.from_s;
      seen.stop_s = piece.stop_s;
      seen.counts = piece.rests && (piece.stop_s == 0 || piece.stop_said);
      return;
    }
    planned.moving_s += piece.job_s - piece.sequences_s;
    planned.sequences_s += piece.sequences_s;
    const double waited_s = waited_in(piece);
    const double went_s = piece.took_s() - waited_s;
    const double sequences_s = sequences_in(piece, went_s);
    actual.waiting_s += waited_s;
    actual.sequences_s += sequences_s;
    actual.moving_s += went_s - sequences_s;
    if (piece.change >= schedule_.changes.size() || piece.waits == 0) return;
    ChangeSeen& seen = seen_[piece.print][piece.change];
    seen.wait_s = seen.wait_s.value_or(0) + waited_s;
    const double warm_s = double(piece.waits) * out_.warm_wait_s;
    const double late_s = std::max(0.0, waited_s - piece.wait_s - warm_s);
    seen.late_s = seen.late_s.value_or(0) + late_s;
  }

  [[nodiscard]] double waited_in(const Piece& piece) const {
    if (piece.waits == 0) return 0;
    const double beyond_s = std::max(0.0, beyond_moves_s(piece));
    if (piece.kind == Piece::Kind::wait) return std::min(beyond_s, piece.took_s());
    // At the end, heaters cool, and nothing depends on what is waited for.
    if (piece.change >= schedule_.changes.size()) return 0;
    const PlannedChange& c = schedule_.changes[piece.change];
    const Print& print = prints_[piece.print];
    const double warm_s = std::min(beyond_s, double(piece.waits) * out_.warm_wait_s);
    const Heard* leave = print.changes[piece.change].leave;
    const double scale = out_.scale.factor.value;
    // What the pace of the stretch itself may have cost, is not taken for waiting.
    const double pace_s = 2 * out_.scale.spread * piece.job_s * scale;
    bool waited = beyond_s > warm_s + std::max(kLateS, pace_s);
    if (waited && c.before_c > 0 && records_[print.record].temperatures && leave != nullptr) {
      waited = !warm_before(c, *leave);
    }
    return waited ? beyond_s : warm_s;
  }

  // Whether the heater was warm before it was waited for, in the stretch before this change.
  [[nodiscard]] bool warm_before(const PlannedChange& c, const Heard& leave) const {
    const double settled_s = c.steps_before_s * out_.scale.factor.value + kSettledS;
    return !leave.warm_since_s || leave.at.time_s - *leave.warm_since_s >= settled_s;
  }

  // --------------------------------------------------------------------------------- sequences

  // A toolhead's: what they took where a stretch tells it, beside what was planned.
  struct Sequences {
    std::vector<double> took_s, planned_s;
    [[nodiscard]] double factor() const {
      if (took_s.size() < kLeastSequences) return 1;
      double took = 0, planned = 0;
      for (std::size_t i = 0; i < took_s.size(); ++i) {
        took += took_s[i];
        planned += planned_s[i];
      }
      return std::max(0.0, took / planned);
    }
  };

  // Whose sequences stand in it: those of what is mounted.
  [[nodiscard]] std::size_t head_in(const Piece& piece) const {
    const auto& changes = schedule_.changes;
    if (piece.kind == Piece::Kind::wait) return changes[piece.change].head;
    if (piece.change < changes.size()) return changes[piece.change].from_head;
    return changes.empty() ? job::kNone : changes.back().head;
  }

  void find_sequences() {
    double moved_s = 0, took_s = 0;
    std::size_t plain = 0;
    bool any = false;
    for (const Piece& piece : pieces_) {
      any = any || piece.sequences_s > 0;
      if (!tells_scale(piece) || piece.sequences_s > 0) continue;
      moved_s += piece.job_s * piece.job_s;
      took_s += piece.job_s * piece.took_s();
      ++plain;
    }
    sequences_.resize(schedule_.heads);
    bool told = false;
    for (const Piece& piece : pieces_) {
      if (plain < 2 || !tells_sequences(piece)) continue;
      const double moves_s = (piece.job_s - piece.sequences_s) * took_s / moved_s;
      const double warm_s = double(piece.waits) * out_.warm_wait_s;
      Sequences& of_head = sequences_[head_in(piece)];
      of_head.took_s.push_back(piece.took_s() - moves_s - warm_s);
      of_head.planned_s.push_back(piece.sequences_s);
      told = true;
    }
    out_.sequences_untold = any && !told;
  }

  [[nodiscard]] bool tells_sequences(const Piece& piece) const {
    if (piece.kind != Piece::Kind::stretch || !piece.rests || piece.stop_s > 0 ||
        piece.sequences_s <= 0 || head_in(piece) >= sequences_.size()) {
      return false;
    }
    if (2 * out_.scale.spread * (piece.job_s - piece.sequences_s) > piece.sequences_s) return false;
    if (piece.waits == 0) return true;
    const PlannedChange& c = schedule_.changes[piece.change];
    const Print& print = prints_[piece.print];
    const Heard* leave = print.changes[piece.change].leave;
    return c.before_c > 0 && records_[print.record].temperatures && leave != nullptr &&
           warm_before(c, *leave);
  }

  // Of what a piece took without its waits.
  [[nodiscard]] double sequences_in(const Piece& piece, double went_s) const {
    if (piece.sequences_s <= 0 || piece.job_s <= 0) return 0;
    const std::size_t head = head_in(piece);
    const bool told = head < sequences_.size() && sequences_[head].took_s.size() >= kLeastSequences;
    const double planned_s = told ? piece.sequences_s * sequences_[head].factor()
                                  : went_s * piece.sequences_s / piece.job_s;
    return std::min(planned_s, went_s);
  }

  void add_sequence_stats() {
    for (std::size_t h = 0; h < sequences_.size(); ++h) {
      const Sequences& s = sequences_[h];
      if (s.took_s.empty()) continue;
      out_.stats.push_back(stat_of(Stat::Kind::sequence, h, s.took_s, moments(s.planned_s).mean));
    }
  }

  const Schedule& schedule_;
  const rules::Rules& rules_;
  const std::vector<Journal>& records_;
  std::vector<Print> prints_;
  std::vector<Piece> pieces_;
  std::vector<std::vector<ChangeSeen>> seen_;
  double park_pick_factor_ = 1;       // actual / planned
  std::vector<Sequences> sequences_;  // by toolhead
  Review out_;
};

}  // namespace

Review review(const Schedule& schedule, const rules::Rules& rules,
              const std::vector<Journal>& records) {
  return Reviewer(schedule, rules, records).make();
}

}  // namespace forewarm::review
