// Looks at a job's raw bytes as they are read: hashes them, and finds what must not be in its text.
//
// Bytes may come in pieces of any size. `nul` is set once a NUL byte has come by, `marks` once one
// of the marks that a rewrite leaves (";fw+ ", ";fw- ") has: such a job is to be restored, not
// scanned.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

#include "gcode/lines.h"

namespace forewarm::job {

class ByteWatch final : public gcode::LineReader::Watcher {
 public:
  ByteWatch();
  ~ByteWatch() override;
  void bytes(std::string_view chunk) override;
  [[nodiscard]] std::uint64_t hash() const;  // XXH3 of all bytes so far

  bool nul = false, marks = false;

 private:
  struct Hash;
  std::unique_ptr<Hash> hash_;
  std::string tail_;  // the last bytes before, for a mark that two pieces share
};

}  // namespace forewarm::job
