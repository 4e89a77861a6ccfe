// A source that reads as another one with some of its stretches replaced.
//
// For edits of a few lines in a text of any size: memory grows with the splices. REQUIRES: the
// splices are in the order of the base, do not overlap, and lie within it; the base outlives it.
// Errors: those of the base.
#pragma once

#include <vector>

#include "base/bytes.h"

namespace forewarm {

struct Splice {
  std::uint64_t from = 0, to = 0;  // of the base
  std::string text;                // stands there instead
};

class SplicedSource final : public ByteSource {
 public:
  SplicedSource(ByteSource& base, std::vector<Splice> splices);
  [[nodiscard]] std::uint64_t size() const override { return size_; }
  [[nodiscard]] Result<std::size_t> read_at(std::uint64_t offset, std::span<char> into) override;

  [[nodiscard]] const std::vector<Splice>& splices() const { return splices_; }
  // Where the text of a splice begins, as this source counts.
  [[nodiscard]] std::uint64_t begins(std::size_t splice) const { return begins_[splice]; }
  // Where the base goes on at `offset`. REQUIRES: `offset` is not within the text of a splice.
  [[nodiscard]] std::uint64_t base_of(std::uint64_t offset) const;
  // Where the place `offset` of the base is in this source: of one within a splice, its text's
  // beginning.
  [[nodiscard]] std::uint64_t place_of(std::uint64_t offset) const;
  // The first splice whose text ends after `offset`.
  [[nodiscard]] std::size_t first_after(std::uint64_t offset) const;

 private:
  ByteSource& base_;
  std::vector<Splice> splices_;
  std::vector<std::uint64_t> begins_;
  std::uint64_t size_ = 0;
};

}  // namespace forewarm
