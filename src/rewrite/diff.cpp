#include "rewrite/diff.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <algorithm>
#include <vector>

#include "gcode/lines.h"
#include "rewrite/hunks.h"
#include "rewrite/marks.h"
#include "rewrite/restore.h"
#include "rewrite/runs.h"

namespace forewarm::rewrite {

namespace {

std::string_view whole(const gcode::RawLine& line) {
  return {line.text.data(), line.text.size() + line.ending.size()};
}

// The original's bytes, one stretch after the other.
class Original {
 public:
  explicit Original(ByteSource& source) : source_(source) {}

  // The next `most` bytes; fewer at the end. Valid until the next call.
  Result<std::string_view> take(std::size_t most) {
    buffer_.resize(std::max(buffer_.size(), most));
    std::size_t have = 0;
    while (have < most) {
      auto got = source_.read_at(at_ + have, std::span(buffer_.data() + have, most - have));
      if (!got) return std::move(got.error());
      if (*got == 0) break;
      have += *got;
    }
    at_ += have;
    return std::string_view(buffer_.data(), have);
  }
  [[nodiscard]] bool ended() const { return at_ == source_.size(); }

 private:
  ByteSource& source_;
  std::uint64_t at_ = 0;
  std::vector<char> buffer_;
};

// One pass by the marks. False, with some of `hunks` used up, where the rewrite's unmarked lines
// are not the original's: then nothing has been written that a second try could not redo.
Result<bool> by_marks(ByteSource& original, ByteSource& rewritten, Hunks& hunks) {
  Original left(original);
  RunReader right(rewritten);
  Run run;
  for (;;) {
    auto more = right.next(run);
    if (!more) return std::move(more.error());
    if (!*more) break;
    if (run.kind == Run::Kind::first || run.kind == Run::Kind::inserted) {
      if (auto s = hunks.add(run.bytes); !s) return std::move(s.error());
      continue;
    }
    const bool disabled = run.kind == Run::Kind::disabled;
    const std::string_view was = run.bytes.substr(disabled ? kDisabled.size() : 0);
    if (was.empty()) return false;  // an open end behind the mark
    auto is = left.take(was.size());
    if (!is) return std::move(is.error());
    // The original's last line may have got an ending so that a line could follow.
    const std::size_t ending = last_ending(was).size();
    const bool joined = is->size() < was.size();
    if (*is != was.substr(0, was.size() - (joined ? ending : 0))) return false;
    if (joined && (is->empty() || is->back() == '\n')) return false;  // a line of its own
    Status status = success();
    if (!disabled && !joined) {
      status = hunks.keep_lines(*is);
    } else {
      const std::size_t last = is->substr(0, is->size() - 1).rfind('\n') + 1;
      if (!disabled) status = hunks.keep_lines(is->substr(0, last));
      if (status) status = hunks.remove(is->substr(disabled ? 0 : last));
      if (status) status = hunks.add(run.bytes.substr(disabled ? 0 : last));
    }
    if (!status) return std::move(status.error());
  }
  if (!left.ended()) return false;
  if (auto s = hunks.finish(); !s) return std::move(s.error());
  return true;
}

struct Lines {
  std::vector<std::uint64_t> starts;  // and the end
  std::vector<std::uint64_t> hashes;
};

Result<Lines> hashed(ByteSource& source) {
  Lines out;
  gcode::LineReader reader(source);
  gcode::RawLine line;
  std::uint64_t end = 0;
  for (;;) {
    auto more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) break;
    out.starts.push_back(line.offset);
    out.hashes.push_back(XXH3_64bits(whole(line).data(), whole(line).size()));
    end = line.end_offset();
  }
  out.starts.push_back(end);
  return out;
}

// Shortest edit script of a[..] to b[..]: for each line of the middle, 'k', '-' or '+'. Empty if it
// would take more than `most` edits.
std::string script(std::span<const std::uint64_t> a, std::span<const std::uint64_t> b,
                   std::ptrdiff_t most) {
  const auto n = std::ptrdiff_t(a.size());
  const auto m = std::ptrdiff_t(b.size());
  const std::ptrdiff_t bound = std::min(most, n + m);
  std::vector<std::ptrdiff_t> furthest(std::size_t(2 * bound + 3), 0);
  std::vector<std::vector<std::ptrdiff_t>> history;
  const auto at = [&](std::vector<std::ptrdiff_t>& v, std::ptrdiff_t k) -> std::ptrdiff_t& {
    return v[std::size_t(k + bound + 1)];
  };
  for (std::ptrdiff_t d = 0; d <= bound; ++d) {
    history.emplace_back(furthest);
    for (std::ptrdiff_t k = -d; k <= d; k += 2) {
      std::ptrdiff_t x = k == -d || (k != d && at(furthest, k - 1) < at(furthest, k + 1))
                             ? at(furthest, k + 1)
                             : at(furthest, k - 1) + 1;
      while (x < n && x - k < m && a[std::size_t(x)] == b[std::size_t(x - k)]) ++x;
      at(furthest, k) = x;
      if (x < n || x - k < m) continue;
      std::string out;
      std::ptrdiff_t y = x - k;
      for (std::ptrdiff_t e = d; e >= 0; --e) {
        auto& v = history[std::size_t(e)];
        const std::ptrdiff_t diagonal = x - y;
        const bool down =
            diagonal == -e || (diagonal != e && at(v, diagonal - 1) < at(v, diagonal + 1));
        const std::ptrdiff_t from_k = down ? diagonal + 1 : diagonal - 1;
        const std::ptrdiff_t from_x = e == 0 ? 0 : at(v, from_k);
        const std::ptrdiff_t from_y = e == 0 ? 0 : from_x - from_k;
        while (x > from_x && y > from_y) out += 'k', --x, --y;
        if (e > 0) out += down ? '+' : '-';
        x = from_x;
        y = from_y;
      }
      std::reverse(out.begin(), out.end());
      return out;
    }
  }
  return {};
}

Status by_content(ByteSource& original, ByteSource& rewritten, Hunks& hunks) {
  constexpr std::ptrdiff_t kMaxEdits = 1500;
  auto a = hashed(original);
  if (!a) return std::move(a.error());
  auto b = hashed(rewritten);
  if (!b) return std::move(b.error());
  std::size_t head = 0;
  const std::size_t shorter = std::min(a->hashes.size(), b->hashes.size());
  while (head < shorter && a->hashes[head] == b->hashes[head]) ++head;
  std::size_t tail = 0;
  while (tail < shorter - head &&
         a->hashes[a->hashes.size() - 1 - tail] == b->hashes[b->hashes.size() - 1 - tail]) {
    ++tail;
  }
  const std::span middle_a(a->hashes.data() + head, a->hashes.size() - head - tail);
  const std::span middle_b(b->hashes.data() + head, b->hashes.size() - head - tail);
  std::string ops = script(middle_a, middle_b, kMaxEdits);
  if (ops.empty()) ops = std::string(middle_a.size(), '-') + std::string(middle_b.size(), '+');
  ops = std::string(head, 'k') + ops + std::string(tail, 'k');

  gcode::LineReader left(original);
  gcode::LineReader right(rewritten);
  gcode::RawLine l;
  gcode::RawLine r;
  for (const char op : ops) {
    if (op != '+') {
      auto more = left.next(l);
      if (!more) return std::move(more.error());
    }
    if (op != '-') {
      auto more = right.next(r);
      if (!more) return std::move(more.error());
    }
    // Lines can be made that have the same hash.
    const bool keeps = op == 'k' && whole(l) == whole(r);
    Status s = success();
    if (keeps) s = hunks.keep(whole(l));
    if (!keeps && op != '+') s = hunks.remove(whole(l));
    if (!keeps && op != '-' && s) s = hunks.add(whole(r));
    if (!s) return s;
  }
  return hunks.finish();
}

}  // namespace

Result<bool> diff(ByteSource& original, ByteSource& rewritten, const DiffNames& names,
                  ByteSink& out, const HunkView& view) {
  auto header = header_of(rewritten);
  if (!header) return std::move(header.error());
  if (*header) {
    // First without output: whether the marks explain the difference shows only at the end.
    NullSink nowhere;
    Hunks trial(names.original, names.rewritten, nowhere);
    auto explained = by_marks(original, rewritten, trial);
    if (!explained) return std::move(explained.error());
    if (*explained) {
      Hunks hunks(names.original, names.rewritten, out, view);
      auto done = by_marks(original, rewritten, hunks);
      if (!done) return std::move(done.error());
      return hunks.any();
    }
  }
  Hunks hunks(names.original, names.rewritten, out, view);
  if (auto s = by_content(original, rewritten, hunks); !s) return std::move(s.error());
  return hunks.any();
}

}  // namespace forewarm::rewrite
