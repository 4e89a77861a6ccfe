// What the fuzz targets share. A target is a function over bytes, LLVMFuzzerTestOneInput: libFuzzer
// calls it with inputs that it makes up, replay_main.cpp with those of corpus/. It holds what it
// sees against properties, and says by require() which one is broken.
#pragma once

#include <array>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <string>
#include <string_view>

#include "base/error.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

namespace forewarm::fuzz {

// Which input it was is said by whoever called the target: libFuzzer, or the replay.
[[noreturn]] inline void broken(std::string_view property, std::string_view seen = {}) {
  std::fprintf(stderr, "\nbroken: %s\n", std::string(property).c_str());
  if (!seen.empty()) std::fprintf(stderr, "%s\n", printable(seen, 4000).c_str());
  std::abort();
}
inline void require(bool holds, std::string_view property, std::string_view seen = {}) {
  if (!holds) broken(property, seen);
}

inline std::string_view text_of(const std::uint8_t* data, std::size_t size) {
  // Not a null pointer, even where there is nothing.
  return size == 0 ? std::string_view("")
                   : std::string_view(reinterpret_cast<const char*>(data), size);
}

// Takes an input apart from its front; once it is used up there are zeros.
class Cursor {
 public:
  explicit Cursor(std::string_view bytes) : rest_(bytes) {}
  [[nodiscard]] bool empty() const { return rest_.empty(); }
  unsigned byte() {
    if (rest_.empty()) return 0;
    const auto b = static_cast<unsigned char>(rest_.front());
    rest_.remove_prefix(1);
    return b;
  }
  std::string_view take(std::size_t most) {
    const std::string_view taken = rest_.substr(0, most);
    rest_.remove_prefix(taken.size());
    return taken;
  }
  [[nodiscard]] std::string_view rest() const { return rest_; }

 private:
  std::string_view rest_;
};

// How many bytes a read gives, so that no boundary is always in the same place.
inline std::size_t chunk_of(unsigned pick) {
  constexpr std::array<std::size_t, 6> sizes{1, 2, 3, 7, 64, 4096};
  return sizes[pick % sizes.size()];
}

// The first control character that a terminal would act on; npos if there is none.
inline std::size_t control_in(std::string_view text) {
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto c = static_cast<unsigned char>(text[i]);
    const auto next = i + 1 < text.size() ? static_cast<unsigned char>(text[i + 1]) : 0U;
    if ((c < 0x20 && c != '\n' && c != '\t') || c == 0x7f) return i;
    if (c == 0xc2 && next >= 0x80 && next < 0xa0) return i;
  }
  return std::string_view::npos;
}

// What every error promises, whoever made it.
inline void require_fit(const Error& error, Error::Kind kind) {
  const std::string shown = render(error);
  require(error.kind == kind, "the error is of the kind that its layer promises", shown);
  require(!error.message.empty(), "an error says what is wrong");
  require(control_in(shown) == std::string_view::npos, "no control character is shown", shown);
  require(error.excerpt.find('\n') == std::string::npos, "an excerpt is one line", shown);
}

}  // namespace forewarm::fuzz
