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

#include "base/bytes.h"
#include "base/error.h"
#include "gcode/read_ahead.h"

namespace forewarm::job {

class ByteWatch final : public gcode::ReadAhead::Watcher {
 public:
  ByteWatch();
  ~ByteWatch() override;
  // False once there is something that must not be.
  [[nodiscard]] bool bytes(std::string_view chunk) override;
  [[nodiscard]] std::uint64_t hash() const;  // XXH3 of all bytes so far

  bool nul = false, marks = false;

 private:
  struct Hash;
  std::unique_ptr<Hash> hash_;
  std::string tail_;  // the last bytes before, for a mark that two pieces share
};

// Of a job with a NUL byte: of kind `refused`, with the line and column of the first, if it can be
// found again. `name`: what messages call the job.
[[nodiscard]] Error not_text(ByteSource& source, const std::string& name);

}  // namespace forewarm::job
