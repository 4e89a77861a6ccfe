// What the program is: its version, from project(VERSION) in CMakeLists.txt and nowhere else; the
// commit it was built from; and how it was built. All of it is fixed when it is built, and the same
// sources give the same words: no time, no folder, no machine.
#pragma once

#include <string>

namespace forewarm::cli {

// "0.1.0".
extern const char* const kVersion;

// Twelve digits of the commit, "+changes" behind them where files of the repository differed from
// it; "unknown" outside of a repository. From a source that the build writes, so that a new commit
// compiles only that one.
extern const char* const kCommit;

// What --version prints, without a line end behind the last line: "forewarm VERSION", and below it
// the commit, the compiler with the system and how it links, and the libraries with their versions.
std::string version_text();

}  // namespace forewarm::cli
