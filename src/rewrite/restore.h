// A rewritten job back to its original, byte for byte.
//
// Streams: nothing is kept but a line. The hash is verified at the end, after everything has been
// written; a caller whose sink cannot be taken back runs it once into a NullSink first. Errors:
// kind `refused` for a text without a valid header, or whose restored bytes are not those it was
// made of.
#pragma once

#include <optional>
#include <string>

#include "base/bytes.h"
#include "rewrite/marks.h"

namespace forewarm::rewrite {

class NullSink final : public ByteSink {
 public:
  Status write(std::string_view) override { return success(); }
  Status copy(ByteSource&, std::uint64_t, std::uint64_t) override { return success(); }
};

// The header of a rewritten job, or nothing if its first line is none.
[[nodiscard]] Result<std::optional<Header>> header_of(ByteSource& text);

// `name` is what messages call the text.
[[nodiscard]] Status restore(ByteSource& rewritten, const std::string& name, ByteSink& out);

}  // namespace forewarm::rewrite
