#include "io/hashed.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

namespace forewarm::io {

namespace {
class Nowhere final : public ByteSink {
 public:
  Status write(std::string_view) override { return success(); }
};
}  // namespace

struct HashedSink::State {
  XXH3_state_t state;
};

HashedSink::HashedSink(ByteSink& out) : out_(out), state_(std::make_unique<State>()) {
  XXH3_64bits_reset(&state_->state);
}
HashedSink::~HashedSink() = default;

Status HashedSink::write(std::string_view bytes) {
  if (auto s = out_.write(bytes); !s) return s;
  bytes_ += bytes.size();
  XXH3_64bits_update(&state_->state, bytes.data(), bytes.size());
  return success();
}

Fingerprint HashedSink::fingerprint() const { return {bytes_, XXH3_64bits_digest(&state_->state)}; }

Result<Fingerprint> fingerprint_of(ByteSource& source) {
  Nowhere nowhere;
  HashedSink sink(nowhere);
  if (auto s = sink.copy(source, 0, source.size()); !s) return std::move(s.error());
  return sink.fingerprint();
}

std::uint64_t hash_of(std::string_view text) { return XXH3_64bits(text.data(), text.size()); }

}  // namespace forewarm::io
