// XXH3 (64 bits) of what passes by, and of a whole source.
//
// Contract: HashedSink hands everything on to `out`, which must outlive it, and counts what `out`
// took. Errors are those of the source and of `out`, as they are.
#pragma once

#include <cstdint>
#include <memory>
#include <string_view>

#include "base/bytes.h"

namespace forewarm::io {

struct Fingerprint {
  std::uint64_t bytes = 0, hash = 0;
  friend bool operator==(const Fingerprint&, const Fingerprint&) = default;
};

class HashedSink final : public ByteSink {
 public:
  explicit HashedSink(ByteSink& out);
  ~HashedSink() override;
  [[nodiscard]] Status write(std::string_view bytes) override;
  // Of all that went through so far.
  [[nodiscard]] Fingerprint fingerprint() const;

 private:
  struct State;
  ByteSink& out_;
  std::uint64_t bytes_ = 0;
  std::unique_ptr<State> state_;
};

[[nodiscard]] Result<Fingerprint> fingerprint_of(ByteSource& source);
[[nodiscard]] std::uint64_t hash_of(std::string_view text);

}  // namespace forewarm::io
