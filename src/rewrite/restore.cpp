#include "rewrite/restore.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <utility>

#include "rewrite/runs.h"

namespace forewarm::rewrite {

namespace {

// Hashes, counts and passes on, holding back a line ending that may have been inserted to join an
// inserted last line to a text that had none. What follows on itself is passed on in one piece, by
// its place in the text, so that a sink can leave it to the kernel.
class Verifier {
 public:
  Verifier(ByteSource& text, ByteSink& out) : text_(text), out_(out) { XXH3_64bits_reset(&state_); }

  // `bytes`, whole lines, stand at `offset` of the text.
  Status lines(std::string_view bytes, std::uint64_t offset) {
    if (auto s = put(held_, held_at_); !s) return s;
    const std::string_view ending = last_ending(bytes);
    held_ = ending;
    held_at_ = offset + bytes.size() - ending.size();
    return put(bytes.substr(0, bytes.size() - ending.size()), offset);
  }
  Status finish(bool drop_last_ending) {
    if (!drop_last_ending) {
      if (auto s = put(held_, held_at_); !s) return s;
    }
    return pass_on();
  }
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
  [[nodiscard]] std::uint64_t hash() const { return XXH3_64bits_digest(&state_); }

 private:
  // So much is read before it is copied: it should still be in memory then.
  static constexpr std::uint64_t kMaxAtOnce = std::uint64_t{32} << 20U;

  Status put(std::string_view bytes, std::uint64_t offset) {
    if (bytes.empty()) return success();
    XXH3_64bits_update(&state_, bytes.data(), bytes.size());
    bytes_ += bytes.size();
    if (offset != to_ || to_ - from_ >= kMaxAtOnce) {
      if (auto s = pass_on(); !s) return s;
      from_ = offset;
    }
    to_ = offset + bytes.size();
    return success();
  }
  Status pass_on() {
    const std::uint64_t from = std::exchange(from_, to_);
    return from < to_ ? out_.copy(text_, from, to_ - from) : success();
  }

  ByteSource& text_;
  ByteSink& out_;
  XXH3_state_t state_;
  std::uint64_t bytes_ = 0;
  std::uint64_t from_ = 0, to_ = 0;  // hashed, not yet passed on
  std::string held_;
  std::uint64_t held_at_ = 0;
};

Error refused(const std::string& name, std::uint64_t line, std::string message) {
  Error e{Error::Kind::refused, std::move(message), name};
  e.line = line;
  return e;
}

}  // namespace

Result<std::optional<Header>> header_of(ByteSource& text) {
  char start[128];
  std::size_t have = 0;
  while (have < sizeof start) {
    auto got = text.read_at(have, std::span(start + have, sizeof start - have));
    if (!got) return std::move(got.error());
    if (*got == 0) break;
    have += *got;
  }
  std::string_view line(start, have);
  line = line.substr(0, line.find('\n'));
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  return read_header(line);
}

Status restore(ByteSource& rewritten, const std::string& name, ByteSink& out) {
  RunReader reader(rewritten);
  Run run;
  auto more = reader.next(run);
  if (!more) return std::move(more.error());
  std::string_view first = *more ? run.bytes : std::string_view();
  first.remove_suffix(last_ending(first).size());
  const auto header = read_header(first);
  if (!header) {
    Error e = refused(name, 1, "not a job that forewarm rewrote: its first line is no header");
    e.excerpt = std::string(first.substr(0, 256));
    return e;
  }
  Verifier verifier(rewritten, out);
  bool ends_inserted_open = false;
  for (;;) {
    more = reader.next(run);
    if (!more) return std::move(more.error());
    if (!*more) break;
    if (run.kind == Run::Kind::inserted) {
      ends_inserted_open = last_ending(run.bytes).empty();
      continue;
    }
    const std::size_t mark = run.kind == Run::Kind::disabled ? kDisabled.size() : 0;
    if (auto s = verifier.lines(run.bytes.substr(mark), run.offset + mark); !s) return s;
  }
  if (auto s = verifier.finish(ends_inserted_open); !s) return s;
  if (verifier.bytes() != header->bytes || verifier.hash() != header->original) {
    Error e = refused(name, 0, "the restored job is not the original: the file was changed since");
    e.hint = "its first line says " + std::to_string(header->bytes) + " bytes; restoring gives " +
             std::to_string(verifier.bytes()) +
             (verifier.bytes() == header->bytes ? ", with another hash" : "");
    return e;
  }
  return success();
}

}  // namespace forewarm::rewrite
