// A rewritten job as the machine printed it: a plain job of the same bytes, but that its marks say
// nothing any more.
//
// Contract: every line keeps its place, its number and its length, so that what is said of the
// plain job is said of the printed file. The header and the disabled lines are comments in it, the
// inserted lines are lines like all others. It can be scanned as any job; it cannot be restored.
// Pure, streaming.
#pragma once

#include <cstdint>
#include <functional>
#include <string_view>

#include "base/bytes.h"

namespace forewarm::rewrite {

// Hears of the printed lines in their order: whole lines, several at once where none is inserted.
using PrintedLines =
    std::function<void(std::string_view bytes, std::uint64_t offset, bool inserted)>;

[[nodiscard]] Status as_printed(ByteSource& rewritten, ByteSink& out, const PrintedLines& lines);

}  // namespace forewarm::rewrite
