#include "rewrite/diff.h"

#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"

namespace forewarm::cli {

int run_diff(const Context& context, const DiffOptions& options) {
  if (options.original == "-" && options.rewritten == "-") {
    return context.fail({Error::Kind::usage, "only one of the two can be standard input"});
  }
  auto left = open_text(options.original);
  if (!left) return context.fail(left.error());
  auto right = open_text(options.rewritten);
  if (!right) return context.fail(right.error());
  Outputs outputs(context);
  auto differ = rewrite::diff(*left, *right, {options.original, options.rewritten},
                              outputs.standard_output());
  if (!differ) return outputs.finish(std::move(differ.error()));
  return outputs.finish(success(), *differ ? kDiffers : kDone);
}

}  // namespace forewarm::cli
