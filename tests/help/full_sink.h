// A sink with little room, for tests.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

#include "base/bytes.h"

namespace forewarm::test {

// Takes `most` bytes, then is full: what does not fit is taken as far as it fits, and that write
// and all later ones fail.
struct FullSink final : ByteSink {
  explicit FullSink(std::size_t most) : left(most) {}
  Status write(std::string_view bytes) override {
    text += bytes.substr(0, left);
    if (bytes.size() > left) {
      left = 0;
      return Error{Error::Kind::io, "full"};
    }
    left -= bytes.size();
    return success();
  }
  std::size_t left;
  std::string text;
};

}  // namespace forewarm::test
