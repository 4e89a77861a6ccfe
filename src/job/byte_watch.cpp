#include "job/byte_watch.h"

#define XXH_INLINE_ALL
#include <xxhash.h>

#include <algorithm>
#include <cstring>
#include <tuple>
#include <utility>
#include <vector>

#include "job/line_errors.h"

namespace forewarm::job {

namespace {

constexpr std::size_t kMarkLength = 5;

bool has_marks(std::string_view text) {
  const char* p = text.data();
  const char* const end = p + text.size();
  while (end - p >= std::ptrdiff_t(kMarkLength)) {
    p = static_cast<const char*>(std::memchr(p, ';', std::size_t(end - p)));
    if (p == nullptr || end - p < std::ptrdiff_t(kMarkLength)) return false;
    if (p[1] == 'f' && p[2] == 'w' && (p[3] == '+' || p[3] == '-') && p[4] == ' ') return true;
    ++p;
  }
  return false;
}

// Line and column, from 1; 0, 0 if it cannot be found again.
std::pair<std::uint64_t, std::uint64_t> first_nul(ByteSource& source) {
  std::uint64_t offset = 0;
  std::uint64_t line = 1;
  std::uint64_t column = 1;
  std::vector<char> buffer(1U << 16U);
  for (;;) {
    auto got = source.read_at(offset, buffer);
    if (!got || *got == 0) return {0, 0};
    for (std::size_t i = 0; i < *got; ++i) {
      if (buffer[i] == '\n') {
        ++line;
        column = 1;
      } else if (buffer[i] == 0) {
        return {line, column};
      } else if ((buffer[i] & 0xc0) != 0x80) {
        ++column;
      }
    }
    offset += *got;
  }
}

}  // namespace

struct ByteWatch::Hash {
  XXH3_state_t state;
};

ByteWatch::ByteWatch() : hash_(std::make_unique<Hash>()) { XXH3_64bits_reset(&hash_->state); }
ByteWatch::~ByteWatch() = default;

std::uint64_t ByteWatch::hash() const { return XXH3_64bits_digest(&hash_->state); }

bool ByteWatch::bytes(std::string_view chunk) {
  XXH3_64bits_update(&hash_->state, chunk.data(), chunk.size());
  if (!nul && std::memchr(chunk.data(), 0, chunk.size()) != nullptr) nul = true;
  if (!marks) {
    marks = has_marks(chunk) || has_marks(tail_ + std::string(chunk.substr(0, kMarkLength - 1)));
  }
  tail_ += chunk.substr(chunk.size() - std::min(chunk.size(), kMarkLength - 1));
  if (tail_.size() > kMarkLength - 1) tail_.erase(0, tail_.size() - (kMarkLength - 1));
  return !nul && !marks;
}

Error not_text(ByteSource& source, const std::string& name) {
  Error e = LineErrors(name).of_job("the job is not text: it has a NUL byte",
                                    "compressed or packed G-code has to be unpacked first");
  std::tie(e.line, e.column) = first_nul(source);
  return e;
}

}  // namespace forewarm::job
