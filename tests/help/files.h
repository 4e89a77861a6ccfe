// Files for tests: what they hold, those of the project, and a folder that goes away.
#pragma once

#include <string>
#include <vector>

namespace forewarm::test {

// All bytes of a file. Fails the test if it cannot be read.
std::string get(const std::string& path);
void put(const std::string& path, const std::string& text);

// A file of the project, by its path from the top level; one of fixtures/, by its name.
std::string source_file(const std::string& path);
std::string fixture(const std::string& name);

// A folder of its own, removed with all that is in it. Its path has no symbolic links.
class TempDir {
 public:
  explicit TempDir(const std::string& parent = "/tmp");
  ~TempDir();
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;

  [[nodiscard]] std::string operator/(const std::string& name) const { return path_ + "/" + name; }
  [[nodiscard]] const std::string& path() const { return path_; }
  // What is in it, sorted.
  [[nodiscard]] std::vector<std::string> names() const;

 private:
  std::string path_;
};

}  // namespace forewarm::test
