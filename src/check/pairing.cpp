#include "check/pairing.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <algorithm>
#include <vector>

namespace forewarm::check {

namespace {

class Hasher final : public gcode::LineReader::Watcher {
 public:
  Hasher() { XXH3_64bits_reset(&state_); }
  void bytes(std::string_view chunk) override {
    XXH3_64bits_update(&state_, chunk.data(), chunk.size());
    count_ += chunk.size();
  }
  [[nodiscard]] std::uint64_t digest() const { return XXH3_64bits_digest(&state_); }
  [[nodiscard]] std::uint64_t count() const { return count_; }

 private:
  XXH3_state_t state_;
  std::uint64_t count_ = 0;
};

}  // namespace

struct Pairing::Hash {
  Hasher restored, original;
};

Pairing::Pairing(ByteSource* original, ByteSource& rewritten, std::size_t chunk, bool thread)
    : rewritten_(rewritten, chunk, thread), hash_(std::make_unique<Hash>()) {
  if (original != nullptr) {
    original_.emplace(*original, 0, UINT64_MAX, 1, chunk);
    original_->watch(&hash_->original);
  }
}
Pairing::~Pairing() = default;

std::uint64_t Pairing::restored_bytes() const { return hash_->restored.count(); }
std::uint64_t Pairing::restored_hash() const { return hash_->restored.digest(); }
std::uint64_t Pairing::original_bytes() const { return hash_->original.count(); }
std::uint64_t Pairing::original_hash() const { return hash_->original.digest(); }

Result<bool> Pairing::next_rewritten(gcode::RawLine& line) {
  if (ended_) return false;
  while (block_ == nullptr || at_ == block_->digest.count) {
    hash_run();  // its bytes go
    const gcode::ReadAhead::Read& next = rewritten_.next();
    block_ = &next;
    if (next.error) return *next.error;
    if (!next.more) return false;
    at_ = 0;
    text_ = next.block.buffer.data();
  }
  const gcode::LinearMove& s = block_->digest.lines[at_++];
  straight_ = s.is() ? &s : nullptr;
  line.text = {text_, s.length()};
  line.ending = {text_ + s.length(), s.ending()};
  line.number = ++number_;
  text_ += s.length() + s.ending();
  return true;
}

// Lines that stand together are hashed together.
void Pairing::restored(const gcode::RawLine& line) {
  if (run_.data() != nullptr &&
      line.text.data() == run_.data() + run_.size() + run_ending_.size()) {
    run_ = {run_.data(), std::size_t(line.text.data() + line.text.size() - run_.data())};
  } else {
    hash_run();
    hash_->restored.bytes(open_ending_);
    run_ = line.text;
  }
  run_ending_ = line.ending;
}

void Pairing::hash_run() {
  if (run_.data() == nullptr) return;
  hash_->restored.bytes(run_);
  open_ending_ = run_ending_;
  run_ = {};
}

// Reads on, taking the marks off, and hashes what they leave of the line.
Result<bool> Pairing::read_rewritten(gcode::RawLine& line, Mark& mark) {
  auto more = next_rewritten(line);
  if (!more) return more;
  if (!*more) {
    if (!ended_ && !ends_inserted_open_) hash_->restored.bytes(open_ending_);
    ended_ = true;
    return more;
  }
  last_number_ = line.number;
  mark = Mark::none;
  if (straight_ == nullptr || straight_->commented()) {
    if (line.number == 1 &&
        line.text.substr(0, rewrite::kHeaderStart.size()) == rewrite::kHeaderStart) {
      mark = Mark::header;
      return more;
    }
    if (rewrite::is_inserted(line.text)) {
      mark = Mark::inserted;
      ends_inserted_open_ = line.ending.empty();
      return more;
    }
    if (rewrite::is_disabled(line.text)) {
      mark = Mark::disabled;
      line.text.remove_prefix(rewrite::kDisabled.size());
    }
  }
  restored(line);
  return more;
}

Result<bool> Pairing::next(Step& step) {
  if (!ahead_rewritten_.empty() || !ahead_original_.empty()) return from_held(step);
  gcode::RawLine line;
  Mark mark = Mark::none;
  auto more = read_rewritten(line, mark);
  if (!more) return more;
  if (!*more) {
    if (!original_) return false;
    gcode::RawLine rest;
    more = original_->next(rest);
    if (!more || !*more) return more;
    step.kind = Step::Kind::lost;
    step.straight = nullptr;
    step.original = {rest.text, rest.number};
    step.rewritten = {{}, last_number_};
    return true;
  }
  step.rewritten = {line.text, line.number};
  step.straight = mark == Mark::none ? straight_ : nullptr;
  if (mark == Mark::header || mark == Mark::inserted) {
    step.kind = mark == Mark::header ? Step::Kind::header : Step::Kind::inserted;
    return true;
  }
  step.kind = mark == Mark::disabled ? Step::Kind::disabled : Step::Kind::kept;
  if (!original_) {
    step.original = {line.text, ++original_numbers_};
    return true;
  }
  const std::size_t whole = line.text.size() + line.ending.size();
  if (!line.ending.empty() && original_->pass_if({line.text.data(), whole}, step.original.number)) {
    step.original.text = line.text;
    return true;
  }
  gcode::RawLine other;
  more = original_->next(other);
  if (!more) return more;
  if (*more && other.text == line.text) {
    step.original = {other.text, other.number};
    return true;
  }
  ahead_rewritten_.push_back({std::string(line.text), line.number, mark});
  if (*more) ahead_original_.push_back({std::string(other.text), other.number, Mark::none});
  return from_held(step);
}

// Tops both sides up to the window.
Result<bool> Pairing::fill() {
  gcode::RawLine line;
  Mark mark = Mark::none;
  const auto jobs = [this] {
    return std::size_t(std::count_if(
        ahead_rewritten_.begin(), ahead_rewritten_.end(),
        [](const Held& h) { return h.mark == Mark::none || h.mark == Mark::disabled; }));
  };
  for (std::size_t have = jobs(); have < kWindow && !ended_;) {
    auto more = read_rewritten(line, mark);
    if (!more) return more;
    if (!*more) break;
    ahead_rewritten_.push_back({std::string(line.text), line.number, mark});
    have += mark == Mark::none || mark == Mark::disabled;
    if (ahead_rewritten_.size() > 4 * kWindow) break;
  }
  while (original_ && ahead_original_.size() < kWindow) {
    auto more = original_->next(line);
    if (!more) return more;
    if (!*more) break;
    ahead_original_.push_back({std::string(line.text), line.number, Mark::none});
  }
  return true;
}

// Decides what becomes of the fronts, which differ.
void Pairing::part() {
  std::vector<const std::string*> job;
  for (const Held& h : ahead_rewritten_) {
    if (h.mark == Mark::none || h.mark == Mark::disabled) job.push_back(&h.text);
  }
  const std::size_t n = ahead_original_.size();
  const std::size_t m = job.size();
  // Agreement counts where it goes on for a line: short lines repeat.
  const auto agree = [&](std::size_t i, std::size_t j) {
    if (i >= n && j >= m) return true;
    if (i >= n || j >= m || ahead_original_[i].text != *job[j]) return false;
    if (i + 1 >= n || j + 1 >= m) return true;
    return ahead_original_[i + 1].text == *job[j + 1];
  };
  for (std::size_t far = 1; far <= n + m; ++far) {
    // As many on either side first: a changed line is likelier than lines lost and others added.
    for (std::size_t apart = far % 2; apart <= far; apart += 2) {
      for (const bool more_lost : {true, false}) {
        const std::size_t i = more_lost ? (far + apart) / 2 : (far - apart) / 2;
        const std::size_t j = far - i;
        if (i > n || j > m || !agree(i, j)) continue;
        if (i == j) {
          change_ = i;
        } else {
          lose_ = i;
          add_ = j;
        }
        return;
      }
    }
  }
  change_ = std::min<std::size_t>(n, m);
  lose_ = n - change_;
  add_ = m - change_;
}

// Whether the next line held of the rewritten text is none of the job's.
bool Pairing::mark_is_next() const {
  if (ahead_rewritten_.empty()) return false;
  const Mark mark = ahead_rewritten_.front().mark;
  return mark == Mark::inserted || mark == Mark::header;
}

Pairing::Held Pairing::take_front(std::deque<Held>& ahead) {
  Held front = std::move(ahead.front());
  ahead.pop_front();
  return front;
}

Result<bool> Pairing::from_held(Step& step) {
  step.straight = nullptr;
  if (lose_ == 0 && mark_is_next()) return held_mark(step);
  if (lose_ + add_ + change_ == 0) {
    // The one side may just have run out of what was held.
    if (ahead_rewritten_.empty() || ahead_original_.empty()) {
      if (auto more = fill(); !more) return more;
    }
    if (ahead_rewritten_.empty() && ahead_original_.empty()) return next(step);
    if (mark_is_next()) return held_mark(step);
    if (ahead_rewritten_.empty() || ahead_original_.empty() ||
        ahead_rewritten_.front().text != ahead_original_.front().text) {
      if (auto more = fill(); !more) return more;
      part();
    }
  }
  if (lose_ > 0) return held_lost(step);
  return held_line(step);
}

// Inserted lines are passed on where they stand.
bool Pairing::held_mark(Step& step) {
  now_rewritten_ = take_front(ahead_rewritten_);
  step.kind = now_rewritten_.mark == Mark::header ? Step::Kind::header : Step::Kind::inserted;
  step.rewritten = {now_rewritten_.text, now_rewritten_.number};
  return true;
}

bool Pairing::held_lost(Step& step) {
  --lose_;
  now_original_ = take_front(ahead_original_);
  step.kind = Step::Kind::lost;
  step.original = {now_original_.text, now_original_.number};
  step.rewritten = {
      {}, ahead_rewritten_.empty() ? now_rewritten_.number : ahead_rewritten_.front().number};
  return true;
}

bool Pairing::held_line(Step& step) {
  now_rewritten_ = take_front(ahead_rewritten_);
  step.rewritten = {now_rewritten_.text, now_rewritten_.number};
  const bool disabled = now_rewritten_.mark == Mark::disabled;
  if (add_ > 0) {
    --add_;
    step.kind = Step::Kind::added;
    // A disabled line that the original does not have does nothing; that its mark is wrong is said
    // of the text as a whole.
    if (disabled) step.rewritten.text = {};
    return true;
  }
  now_original_ = take_front(ahead_original_);
  step.original = {now_original_.text, now_original_.number};
  if (change_ > 0) {
    --change_;
    step.kind = Step::Kind::changed;
    if (disabled) step.rewritten.text = {};
    return true;
  }
  step.kind = disabled ? Step::Kind::disabled : Step::Kind::kept;
  return true;
}

Result<std::optional<rewrite::Header>> header_of(ByteSource& rewritten) {
  gcode::LineReader reader(rewritten, 0, UINT64_MAX, 1, 256);
  gcode::RawLine line;
  auto more = reader.next(line);
  if (!more) return std::move(more.error());
  return *more ? rewrite::read_header(line.text) : std::nullopt;
}

}  // namespace forewarm::check
