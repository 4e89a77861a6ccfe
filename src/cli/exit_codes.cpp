#include "cli/exit_codes.h"

#include <array>

namespace forewarm::cli {

namespace {

constexpr std::array kExitCodes{
    ExitCode{kDone, "All is done, and nothing is wrong."},
    ExitCode{
        kDiffers,
        "diff and rewrite --diff: the two jobs differ. check, rewrite --check and rewrite --hook: "
        "there are findings."},
    ExitCode{kUsage,
             "The command line or the rule file is wrong. The message says where, and how to put "
             "it right. Nothing was written."},
    ExitCode{kRefused,
             "The job is refused: it cannot be followed, planned safely or restored. calibrate and "
             "review: a record cannot be read, or does not tell what was asked. The job is "
             "untouched."},
    ExitCode{kIo,
             "A file could not be read or written. A job that was to be replaced still has its old "
             "bytes."},
    ExitCode{kBug,
             "The program itself is at fault, or memory ran out. The job is untouched. Please "
             "report it, with the command and the message."},
};

}  // namespace

std::span<const ExitCode> exit_codes() { return kExitCodes; }

}  // namespace forewarm::cli
