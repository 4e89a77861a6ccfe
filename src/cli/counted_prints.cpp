#include "cli/counted_prints.h"

#include <filesystem>

#include "cli/outputs.h"
#include "io/read_all.h"
#include "report/format.h"

namespace forewarm::cli {

namespace {

constexpr std::size_t kMaxBytes = std::size_t{16} << 20U;

std::string line_of(std::uint64_t job, std::uint64_t print) {
  return report::hash_text(job) + ' ' + report::hash_text(print) + '\n';
}

}  // namespace

Result<CountedPrints> CountedPrints::beside(const std::string& rule_file) {
  CountedPrints out;
  out.file_ = rule_file + ".prints";
  std::error_code none;
  if (!std::filesystem::exists(std::filesystem::symlink_status(out.file_, none))) return out;
  auto text = io::read_all(out.file_, kMaxBytes);
  if (!text) return std::move(text.error());
  out.text_ = std::move(*text);
  if (!out.text_.empty() && out.text_.back() != '\n') out.text_ += '\n';
  return out;
}

bool CountedPrints::has(std::uint64_t job, std::uint64_t print) const {
  return ('\n' + text_).find('\n' + line_of(job, print)) != std::string::npos;
}

void CountedPrints::add(std::uint64_t job, std::uint64_t print) {
  if (!has(job, print)) text_ += line_of(job, print);
}

Status CountedPrints::write() const { return write_file(file_, text_); }

}  // namespace forewarm::cli
