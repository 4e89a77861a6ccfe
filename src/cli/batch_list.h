// Which jobs a batch has, and which of them are this machine's.
//
// Pure: no file is looked at. Errors are of kind usage.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"

namespace forewarm::cli {

// Splits names that each end in a NUL (find -print0); the last NUL may be missing.
[[nodiscard]] Result<std::vector<std::string>> split_files0(std::string_view text,
                                                            const std::string& name);

// All outputs are in one folder, each named by the last part of its job's path. Each job must have
// such a part, no two jobs the same one, and none that of a manifest.
[[nodiscard]] Status check_names(const std::vector<std::string>& paths);

// Part K of N: each path falls into exactly one of the N, whatever other paths there are and on
// whatever machine, by a hash (XXH3) of the path as it was given.
struct Shard {
  std::uint64_t k = 1, n = 1;  // 1 <= k <= n
  [[nodiscard]] bool holds(std::string_view path) const;
};
[[nodiscard]] Result<Shard> shard_from(std::string_view text);  // "2/4"

// Each shard has a manifest of its own: they may share a folder, and not a file.
[[nodiscard]] std::string manifest_name(const std::optional<Shard>& shard);
[[nodiscard]] bool is_manifest_name(std::string_view name);

}  // namespace forewarm::cli
