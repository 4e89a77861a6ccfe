// Two texts as a unified diff that patch(1) applies.
//
// Format: GNU diffutils manual, "Detailed Description of Unified Format": three lines of context,
// `,count` left out when 1, `\ No newline at end of file`. A text and its rewrite are aligned by
// the marks in one pass; other pairs by a shortest edit script (Myers, An O(ND) Difference
// Algorithm and Its Variations, 1986) between their common start and end, up to a bound, beyond
// which the middle is replaced whole.
#pragma once

#include <string>

#include "base/bytes.h"
#include "rewrite/hunks.h"

namespace forewarm::rewrite {

struct DiffNames {
  std::string original, rewritten;
};

// True if they differ in a hunk that is wanted. The view is not asked before it is known how the
// texts are aligned.
[[nodiscard]] Result<bool> diff(ByteSource& original, ByteSource& rewritten, const DiffNames& names,
                                ByteSink& out, const HunkView& view = {});

}  // namespace forewarm::rewrite
