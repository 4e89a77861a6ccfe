// Runs a fuzz target without a fuzzer: over every file given, or in a folder given, and over a
// fixed number of mutations of each, the same on every machine. Where a property breaks, or a
// sanitizer finds something, it says which input it was and keeps it.
//
//   replay [--mutations N] FILE-OR-FOLDER...
#include <algorithm>
#include <charconv>
#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <random>
#include <vector>

#include "fuzz_help.h"

// There in a build with sanitizers; they do not always end a program by a signal.
extern "C" __attribute__((weak)) void __sanitizer_set_death_callback(void (*callback)());

namespace {

namespace fs = std::filesystem;

struct Current {
  std::string path;
  unsigned mutation = 0;  // 0: the file itself
  std::string input;
} current;

void say_which() {
  static bool said = false;
  if (said) return;
  said = true;
  std::fprintf(stderr, "input: %s", current.path.c_str());
  if (current.mutation > 0) {
    const char* kept = "broken-input.bin";
    std::fprintf(stderr, ", mutation %u, kept as %s", current.mutation, kept);
    std::ofstream(kept, std::ios::binary) << current.input;
  }
  std::fprintf(stderr, "\n");
}

void on_signal(int number) {
  say_which();
  std::signal(number, SIG_DFL);
  std::raise(number);
}

std::string bytes_of(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) {
    std::fprintf(stderr, "cannot read %s\n", path.c_str());
    std::exit(2);
  }
  return {std::istreambuf_iterator<char>(in), {}};
}

void run() {
  // A copy of its own, so that a read one byte too far is one outside of all memory we have.
  const std::vector<std::uint8_t> exact(current.input.begin(), current.input.end());
  (void)LLVMFuzzerTestOneInput(exact.data(), exact.size());
}

class Mutator {
 public:
  explicit Mutator(const std::vector<std::string>& all) : all_(all) {}

  std::string operator()(std::string text) {
    for (std::size_t n = 1 + below(4); n > 0; --n) step(text);
    return text;
  }

 private:
  // Not a distribution: those differ from one standard library to another.
  std::size_t below(std::size_t n) { return n == 0 ? 0 : random_() % n; }

  void step(std::string& text) {
    const std::size_t at = below(text.size() + 1);
    const std::size_t length = below(std::min<std::size_t>(text.size() - at, 40) + 1);
    switch (below(7)) {
      case 0:
        if (at < text.size()) text[at] = char(text[at] ^ (1U << below(8)));
        break;
      case 1:
        if (at < text.size()) text[at] = char(below(256));
        break;
      case 2:
        text.insert(at, 1, char(below(256)));
        break;
      case 3:
        text.erase(at, length);
        break;
      case 4:
        text.insert(below(text.size() + 1), text.substr(at, length));
        break;
      case 5: {
        const std::string& other = all_[below(all_.size())];
        text.insert(at, other.substr(below(other.size() + 1), below(60)));
        break;
      }
      default:
        text.resize(at);
        break;
    }
  }

  const std::vector<std::string>& all_;
  std::mt19937 random_{20};
};

}  // namespace

int main(int argc, char** argv) {
  unsigned mutations = 0;
  std::vector<fs::path> paths;
  for (int i = 1; i < argc; ++i) {
    const std::string_view argument = argv[i];
    if (argument == "--mutations" && i + 1 < argc) {
      const std::string_view number = argv[++i];
      std::from_chars(number.data(), number.data() + number.size(), mutations);
    } else if (fs::is_directory(argument)) {
      for (const auto& entry : fs::directory_iterator(argument)) paths.push_back(entry.path());
    } else {
      paths.emplace_back(argument);
    }
  }
  if (paths.empty()) {
    std::fprintf(stderr, "usage: replay [--mutations N] FILE-OR-FOLDER...\n");
    return 2;
  }
  std::sort(paths.begin(), paths.end());
  if (__sanitizer_set_death_callback != nullptr) __sanitizer_set_death_callback(say_which);
  for (const int number : {SIGABRT, SIGSEGV, SIGFPE, SIGILL, SIGBUS})
    std::signal(number, on_signal);

  std::vector<std::string> all;
  for (const fs::path& path : paths) all.push_back(bytes_of(path));
  std::size_t runs = 0;
  Mutator mutated(all);
  for (std::size_t i = 0; i < paths.size(); ++i) {
    current = {paths[i].string(), 0, all[i]};
    for (;; ++runs) {
      run();
      if (current.mutation == mutations) break;
      ++current.mutation;
      current.input = mutated(all[i]);
    }
    ++runs;
  }
  std::printf("%zu inputs, %zu runs, nothing broken\n", paths.size(), runs);
  return 0;
}
