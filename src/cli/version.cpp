#include "cli/version.h"

#include <fmt/format.h>

namespace forewarm::cli {
namespace {

// The definitions come from CMakeLists.txt, which knows what it found.
std::string built() {
  return fmt::format("{} for {}, {}{}", FOREWARM_COMPILER, FOREWARM_SYSTEM,
                     FOREWARM_IS_STATIC ? "linked statically" : "linked dynamically",
                     FOREWARM_IS_SANITIZED ? ", with sanitizers" : "");
}

}  // namespace

const char* const kVersion = FOREWARM_VERSION;

std::string version_text() {
  return fmt::format("forewarm {}\ncommit: {}\nbuilt: {}\nlibraries: {}", kVersion, kCommit,
                     built(), FOREWARM_LIBRARIES);
}

}  // namespace forewarm::cli
