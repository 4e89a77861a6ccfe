#include "help/files.h"

#include <stdlib.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>

namespace forewarm::test {

std::string get(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) FAIL("cannot read " << path);
  return {std::istreambuf_iterator<char>(in), {}};
}
void put(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

std::string source_file(const std::string& path) {
  return get(std::string(FOREWARM_SOURCE_DIR) + "/" + path);
}
std::string fixture(const std::string& name) {
  return get(std::string(FOREWARM_FIXTURES) + "/" + name);
}

TempDir::TempDir(const std::string& parent) {
  std::string pattern = parent + "/forewarm-test-XXXXXX";
  if (::mkdtemp(pattern.data()) == nullptr) FAIL("no temporary folder in " << parent);
  path_ = std::filesystem::canonical(pattern).string();
}
TempDir::~TempDir() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}
std::vector<std::string> TempDir::names() const {
  std::vector<std::string> out;
  for (const auto& entry : std::filesystem::directory_iterator(path_)) {
    out.push_back(entry.path().filename().string());
  }
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace forewarm::test
