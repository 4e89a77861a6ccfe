// Writes the manual and the completions into a folder: FOLDER/man and FOLDER/completions.
//
// A program of its own, run by the build. The date of the pages is that of SOURCE_DATE_EPOCH, where
// it is set, or else that of the version: never the clock's, so that equal sources give equal
// bytes.
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <exception>
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include "cli/completions.h"
#include "cli/manual.h"

namespace {

using namespace forewarm::cli;

std::string date() {
  const char* epoch = std::getenv("SOURCE_DATE_EPOCH");
  if (epoch == nullptr || *epoch == '\0') return FOREWARM_VERSION_DATE;
  const std::time_t seconds = std::strtoll(epoch, nullptr, 10);
  std::tm parts{};
  char out[16];
  if (gmtime_r(&seconds, &parts) == nullptr ||
      std::strftime(out, sizeof out, "%Y-%m-%d", &parts) != 10) {
    throw std::runtime_error("SOURCE_DATE_EPOCH is no time");
  }
  return out;
}

void write(const std::filesystem::path& path, const std::string& text) {
  std::ofstream out(path, std::ios::binary);
  out << text;
  out.close();
  if (!out) throw std::runtime_error("cannot write " + path.string());
}

void run(const std::filesystem::path& folder) {
  Options options;
  const Command program = command_line(options);
  const Edition edition{FOREWARM_VERSION, date()};
  const auto man = folder / "man", completions = folder / "completions";
  std::filesystem::create_directories(man);
  std::filesystem::create_directories(completions);
  for (const ManualPage& page : all_pages(program)) {
    write(man / (page.name + '.' + std::to_string(page.section)), mdoc_of(page, edition));
  }
  write(completions / "forewarm.bash", bash_completion(program));
  write(completions / "_forewarm", zsh_completion(program));
  write(completions / "forewarm.fish", fish_completion(program));
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("usage: forewarm_pages FOLDER\n", stderr);
    return 2;
  }
  try {
    run(argv[1]);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "forewarm_pages: %s\n", error.what());
    return 1;
  }
  return 0;
}
