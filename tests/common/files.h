// Files as tests use them: read and written whole, as bytes. A file that cannot be read fails the
// test.
#pragma once

#include <catch2/catch.hpp>
#include <fstream>
#include <iterator>
#include <string>

namespace forewarm::test {

inline std::string get(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) FAIL("cannot read " << path);
  return {std::istreambuf_iterator<char>(in), {}};
}

inline void put(const std::string& path, const std::string& bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

}  // namespace forewarm::test
