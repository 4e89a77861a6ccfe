#include "cli/commands.h"
#include "cli/inputs.h"
#include "cli/outputs.h"
#include "rewrite/restore.h"

namespace forewarm::cli {

int run_restore(const Context& context, const RestoreOptions& options) {
  Outputs outputs(context, {.job = options.out.empty() ? options.job : options.out,
                            .in_place = options.out.empty(),
                            .hard_linked = options.hard_linked,
                            .elsewhere = "write elsewhere with -o",
                            .shows_text = false});
  if (auto s = outputs.open_job(); !s) return context.fail(s.error());
  auto text = open_text(options.job);
  if (!text) return context.fail(text.error());
  const std::string name = shown_name(options.job);
  if (outputs.job_is_direct()) {
    // These bytes could not be taken back: verify before writing any.
    rewrite::NullSink nowhere;
    if (auto s = rewrite::restore(*text, name, nowhere); !s) return context.fail(s.error());
  }
  return outputs.finish_job(rewrite::restore(*text, name, outputs.job()),
                            options.job == "-" ? nullptr : &*text);
}

}  // namespace forewarm::cli
