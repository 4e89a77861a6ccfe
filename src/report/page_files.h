// The page's style and script, embedded when the program is built (src/report/page), and the hashes
// by which a Content-Security-Policy allows them and nothing else.
#pragma once

#include <string_view>

namespace forewarm::report {

extern const std::string_view kPageStyle, kPageScript;
extern const std::string_view kPageStyleHash, kPageScriptHash;  // "sha256-..."

}  // namespace forewarm::report
