// The same job by several rule files, each as it is and with settings in place of its values.
//
// Of each file there is a row as it is, one with each setting by itself, and one with all of them,
// where there are several and no key is set twice. A setting that makes a wrong file by itself, but
// not with the others, has no row of its own; a note says so. The first error is the comparison's;
// of several files, it says which one it is about.
#pragma once

#include <string>
#include <vector>

#include "cli/context.h"
#include "report/variants.h"

namespace forewarm::cli {

// `files`: as --rules names them; an empty name is the one in force.
[[nodiscard]] Result<report::Variants> compare_variants(
    const Context& context, const std::string& job, const std::vector<std::string>& files,
    const std::vector<rules::Setting>& settings);

}  // namespace forewarm::cli
