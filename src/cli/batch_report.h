// What a batch prints: a line for each job, and a table of all.
//
// Pure: the same results give the same text.
#pragma once

#include <string>
#include <vector>

#include "cli/batch_one.h"

namespace forewarm::cli {

[[nodiscard]] std::string batch_line(const JobResult& result);
[[nodiscard]] std::string batch_table(const std::vector<JobResult>& all, std::size_t width);

}  // namespace forewarm::cli
