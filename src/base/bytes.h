// Where bytes come from and go to, as logic sees them. io/ has the real files; tests have fakes.
//
// Contract: a source can be read at any offset any number of times and gives the same bytes each
// time. A sink takes bytes in order; once write() or copy() has failed the sink is spent. Neither
// is thread-safe.
#pragma once

#include <algorithm>
#include <concepts>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/error.h"

namespace forewarm {

class ByteSource {
 public:
  virtual ~ByteSource() = default;
  [[nodiscard]] virtual std::uint64_t size() const = 0;
  // Reads up to into.size() bytes at `offset`; 0 only at the end. May read less than asked.
  [[nodiscard]] virtual Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) = 0;
};

class ByteSink {
 public:
  virtual ~ByteSink() = default;
  [[nodiscard]] virtual Status write(std::string_view bytes) = 0;
  // Writes source[offset, offset + length). A file sink may let the kernel do it.
  [[nodiscard]] virtual Status copy(ByteSource& source, std::uint64_t offset, std::uint64_t length);
};

// A source over text that outlives it. `most` caps what one read gives, to prove that readers do
// not depend on where reads end.
class TextSource final : public ByteSource {
 public:
  explicit TextSource(std::string_view text, std::size_t most = SIZE_MAX)
      : text_(text), most_(most) {}
  // A temporary string would be gone before the first read.
  template <std::same_as<std::string> Temporary>
  explicit TextSource(Temporary&& text, std::size_t most = SIZE_MAX) = delete;
  [[nodiscard]] std::uint64_t size() const override { return text_.size(); }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override {
    if (offset >= text_.size()) return std::size_t{0};
    const std::size_t n = std::min({into.size(), most_, text_.size() - std::size_t(offset)});
    std::memcpy(into.data(), text_.data() + offset, n);
    return n;
  }

 private:
  std::string_view text_;
  std::size_t most_;
};

class TextSink final : public ByteSink {
 public:
  [[nodiscard]] Status write(std::string_view bytes) override {
    text_.append(bytes);
    return success();
  }
  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  std::string text_;
};

}  // namespace forewarm
