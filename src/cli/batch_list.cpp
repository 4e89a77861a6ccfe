#include "cli/batch_list.h"

#include <fmt/format.h>

#include <charconv>
#include <map>

#include "cli/batch_manifest.h"
#include "io/hashed.h"

namespace forewarm::cli {

namespace {

constexpr std::uint64_t kMaxShards = 10'000;

Error usage(std::string message, std::string hint = {}) {
  return Error{Error::Kind::usage, std::move(message), "", 0, 0, "", std::move(hint)};
}

std::optional<std::uint64_t> number_from(std::string_view text) {
  std::uint64_t value = 0;
  const auto [rest, code] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (code != std::errc{} || rest != text.data() + text.size()) return std::nullopt;
  return value;
}

}  // namespace

Result<std::vector<std::string>> split_files0(std::string_view text, const std::string& name) {
  std::vector<std::string> paths;
  while (!text.empty()) {
    const std::size_t end = text.find('\0');
    const std::string_view path = text.substr(0, end);
    if (path.empty()) {
      Error error = usage(fmt::format("name {} is empty", paths.size() + 1),
                          "names end in a NUL byte each, as find -print0 writes them");
      error.file = name;
      return error;
    }
    paths.emplace_back(path);
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return paths;
}

Status check_names(const std::vector<std::string>& paths) {
  std::map<std::string_view, std::string_view> seen;
  for (const std::string& path : paths) {
    const std::string_view name = last_part(path);
    if (path == "-") {
      return usage("a batch does not read jobs from standard input", "see forewarm rewrite");
    }
    if (name.empty() || name == "." || name == "..") {
      return usage(fmt::format("\"{}\" is not the name of a file", printable(path)));
    }
    if (is_manifest_name(name)) {
      return usage(
          fmt::format("\"{}\": its output would have the name of a manifest", printable(path)),
          "rename the job");
    }
    if (const auto [at, added] = seen.emplace(name, path); !added) {
      return usage(fmt::format("the outputs of \"{}\" and \"{}\" would be one file",
                               printable(at->second), printable(path)),
                   "give them to two batches, each with a folder of its own");
    }
  }
  return success();
}

bool Shard::holds(std::string_view path) const { return io::hash_of(path) % n == k - 1; }

Result<Shard> shard_from(std::string_view text) {
  const std::size_t slash = text.find('/');
  if (slash != std::string_view::npos) {
    const auto k = number_from(text.substr(0, slash));
    const auto n = number_from(text.substr(slash + 1));
    if (k && n && *k >= 1 && *k <= *n && *n <= kMaxShards) return Shard{*k, *n};
  }
  return usage(fmt::format("--shard: \"{}\" is not K/N with K from 1 to N, and N up to {}",
                           printable(text), kMaxShards));
}

std::string manifest_name(const std::optional<Shard>& shard) {
  return shard ? fmt::format("manifest.{}-of-{}.jsonl", shard->k, shard->n) : "manifest.jsonl";
}

bool is_manifest_name(std::string_view name) {
  if (name == "manifest.jsonl") return true;
  constexpr std::string_view kBefore = "manifest.", kAfter = ".jsonl", kOf = "-of-";
  if (!name.starts_with(kBefore) || !name.ends_with(kAfter)) return false;
  if (name.size() < kBefore.size() + kAfter.size()) return false;
  name.remove_prefix(kBefore.size());
  name.remove_suffix(kAfter.size());
  const std::size_t of = name.find(kOf);
  return of != std::string_view::npos && number_from(name.substr(0, of)).has_value() &&
         number_from(name.substr(of + kOf.size())).has_value();
}

}  // namespace forewarm::cli
