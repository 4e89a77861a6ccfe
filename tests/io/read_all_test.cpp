#include "io/read_all.h"

#include "io_test_help.h"

namespace forewarm::io {

TEST_CASE("a small file is read whole, up to its limit and not beyond") {
  const TempDir dir;
  const std::string path = dir / "rules.toml";
  for (const std::size_t size : {0U, 1U, 65535U, 65536U, 65537U, 200000U}) {
    const std::string text = noise(size);
    put(path, text);
    for (const std::size_t limit : {size, size + 1, size + 65536, SIZE_MAX}) {
      auto got = read_all(path, limit);
      need(got);
      CHECK((*got == text));
    }
    if (size == 0) continue;
    const auto over = read_all(path, size - 1);
    REQUIRE(!over.ok());
    CHECK(over.error().kind == Error::Kind::io);
    CHECK(over.error().file == path);
    CHECK(over.error().message.find("larger than " + std::to_string(size - 1)) !=
          std::string::npos);
  }
}

TEST_CASE("an endless file stops at the limit") {
  const auto got = read_all("/dev/zero", 100000);
  REQUIRE(!got.ok());
  CHECK(got.error().message.find("larger") != std::string::npos);
}

TEST_CASE("what cannot be read as a file says why") {
  const TempDir dir;
  const auto missing = read_all(dir / "missing", 10);
  REQUIRE(!missing.ok());
  CHECK(render(missing.error()) == dir / "missing" + ": cannot open: No such file or directory");
  const auto folder = read_all(dir.path(), 10);
  REQUIRE(!folder.ok());
  CHECK(folder.error().message.find("Is a directory") != std::string::npos);
}

}  // namespace forewarm::io
