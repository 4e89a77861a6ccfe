#include "rewrite/restore.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include "gcode/lines.h"

namespace forewarm::rewrite {

namespace {

// Hashes, counts and passes on, holding back a line ending that may have been put in to join an
// inserted last line to a text that had none.
class Verifier {
 public:
  explicit Verifier(ByteSink& out) : out_(out) { XXH3_64bits_reset(&state_); }

  Status line(std::string_view text, std::string_view ending) {
    if (auto s = put(held_); !s) return s;
    if (auto s = put(text); !s) return s;
    held_ = ending;
    return success();
  }
  Status finish(bool drop_last_ending) {
    if (!drop_last_ending) {
      if (auto s = put(held_); !s) return s;
    }
    held_.clear();
    return success();
  }
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }
  [[nodiscard]] std::uint64_t hash() const { return XXH3_64bits_digest(&state_); }

 private:
  Status put(std::string_view text) {
    XXH3_64bits_update(&state_, text.data(), text.size());
    bytes_ += text.size();
    return text.empty() ? success() : out_.write(text);
  }
  ByteSink& out_;
  XXH3_state_t state_;
  std::uint64_t bytes_ = 0;
  std::string held_;
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
  gcode::LineReader reader(rewritten);
  gcode::RawLine line;
  auto more = reader.next(line);
  if (!more) return std::move(more.error());
  const auto header = *more ? read_header(line.text) : std::nullopt;
  if (!header) {
    Error e = refused(name, 1, "not a job that forewarm rewrote: its first line is no header");
    e.excerpt = *more ? std::string(line.text.substr(0, 256)) : "";
    return e;
  }
  Verifier verifier(out);
  bool ends_inserted_open = false;
  for (;;) {
    more = reader.next(line);
    if (!more) return std::move(more.error());
    if (!*more) break;
    if (is_inserted(line.text)) {
      ends_inserted_open = line.ending.empty();
      continue;
    }
    std::string_view text = line.text;
    if (is_disabled(text)) text.remove_prefix(kDisabled.size());
    if (auto s = verifier.line(text, line.ending); !s) return s;
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
