// A small file, whole: rule files, temperature logs.
//
// Contract: reads any path that can be read to its end (so also a pipe such as <(...)), but no
// folder. A file of more than `limit` bytes is an error, found without reading much more than that,
// so that a wrong path such as a job or /dev/zero does no harm. Errors are of kind io and name the
// path.
#pragma once

#include <cstddef>
#include <string>

#include "base/error.h"

namespace forewarm::io {

[[nodiscard]] Result<std::string> read_all(const std::string& path, std::size_t limit);

}  // namespace forewarm::io
