#include "io/hashed.h"

#include "io/file_source.h"
#include "io_test_help.h"

namespace forewarm::io {

TEST_CASE("a fingerprint is that of the bytes, however they come") {
  const std::string text(3'000'000, 'x');
  TextSource source(text, 4097);
  const auto whole = fingerprint_of(source);
  REQUIRE(whole);
  TextSink out;
  HashedSink sink(out);
  for (std::size_t at = 0; at < text.size(); at += 100'000) {
    REQUIRE(sink.write(std::string_view(text).substr(at, 100'000)));
  }
  CHECK(sink.fingerprint() == *whole);
  CHECK(whole->bytes == text.size());
  CHECK(whole->hash == hash_of(text));
  CHECK(out.text() == text);
}

// Values: xxhsum 0.8.1 (Debian package xxhash), `xxhsum -H3`.
TEST_CASE("the hash is XXH3") {
  CHECK(hash_of("") == 0x2d06800538d394c2U);
  CHECK(hash_of("T0\n") == 0x083d781238a00debU);
}

TEST_CASE("what the sink behind did not take is not counted") {
  class Full final : public ByteSink {
   public:
    Status write(std::string_view) override { return Error{Error::Kind::io, "no room"}; }
  };
  Full full;
  HashedSink sink(full);
  const auto status = sink.write("T0\n");
  REQUIRE_FALSE(status);
  CHECK(status.error().message == "no room");
  CHECK(sink.fingerprint() == Fingerprint{0, hash_of("")});
}

}  // namespace forewarm::io
