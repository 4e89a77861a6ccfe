// A folder in which the real program is run by the shell, as users run it.
#pragma once

#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <vector>

#include "help/files.h"
#include "help/rule_texts.h"

namespace forewarm::cli {

using test::get;
using test::put;

inline const std::string kTwoToolheads = test::kTwoToolheads;

struct Ran {
  int code = -1;
  std::string out, err;
};

class Bench {
 public:
  Bench() {
    std::string pattern = "/tmp/forewarm-cli-test-XXXXXX";
    if (::mkdtemp(pattern.data()) == nullptr) FAIL("no temporary folder");
    root_ = pattern;
    for (const char* folder : {"/work", "/home", "/log", "/tmp"}) {
      std::filesystem::create_directory(root_ + folder);
    }
  }
  ~Bench() {
    std::error_code ignored;
    std::filesystem::remove_all(root_, ignored);
  }
  Bench(const Bench&) = delete;
  Bench& operator=(const Bench&) = delete;

  // A path in the working folder.
  [[nodiscard]] std::string operator/(const std::string& name) const {
    return root_ + "/work/" + name;
  }
  [[nodiscard]] const std::string& root() const { return root_; }
  [[nodiscard]] std::vector<std::string> names() const {
    std::vector<std::string> out;
    for (const auto& entry : std::filesystem::directory_iterator(root_ + "/work")) {
      out.push_back(entry.path().filename().string());
    }
    std::sort(out.begin(), out.end());
    return out;
  }

  // A shell script in the working folder. Nothing of the environment of these tests is in it: HOME
  // is an empty folder of its own, and nobody listens on stdin.
  Ran operator()(const std::string& script) const {
    const std::string bin = std::filesystem::path(FOREWARM_BINARY).parent_path().string();
    put(root_ + "/log/script", "cd " + root_ + "/work\n" + script + "\n");
    const std::string command =
        "env -i PATH='" + bin + ":/usr/bin:/bin' HOME=" + root_ + "/home TMPDIR=" + root_ +
        "/tmp FIXTURES=" + FOREWARM_FIXTURES + " CONFIG=" + FOREWARM_SOURCE_DIR + "/config sh " +
        root_ + "/log/script >" + root_ + "/log/out 2>" + root_ + "/log/err </dev/null";
    const int status = std::system(command.c_str());
    Ran ran;
    if (WIFEXITED(status)) ran.code = WEXITSTATUS(status);
    ran.out = get(root_ + "/log/out");
    ran.err = get(root_ + "/log/err");
    // No temporary file is ever left.
    CHECK(std::filesystem::is_empty(root_ + "/tmp"));
    for (const std::string& name : names()) CHECK(name.find("fw-tmp") == std::string::npos);
    return ran;
  }

 private:
  std::string root_;
};

}  // namespace forewarm::cli
