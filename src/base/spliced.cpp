#include "base/spliced.h"

namespace forewarm {

SplicedSource::SplicedSource(ByteSource& base, std::vector<Splice> splices)
    : base_(base), splices_(std::move(splices)) {
  std::uint64_t at = 0;       // of the base
  std::uint64_t written = 0;  // as this source counts
  begins_.reserve(splices_.size());
  for (const Splice& s : splices_) {
    written += s.from - at;
    begins_.push_back(written);
    written += s.text.size();
    at = s.to;
  }
  size_ = written + (base_.size() - at);
}

std::size_t SplicedSource::first_after(std::uint64_t offset) const {
  const auto after = std::upper_bound(begins_.begin(), begins_.end(), offset);
  auto i = std::size_t(after - begins_.begin());
  while (i > 0 && begins_[i - 1] + splices_[i - 1].text.size() > offset) --i;
  return i;
}

Result<std::size_t> SplicedSource::read_at(std::uint64_t offset, std::span<char> into) {
  if (offset >= size_ || into.empty()) return std::size_t{0};
  const std::size_t next = first_after(offset);
  if (next < splices_.size() && begins_[next] <= offset) {
    const std::string& text = splices_[next].text;
    const auto skip = std::size_t(offset - begins_[next]);
    const std::size_t n = std::min(into.size(), text.size() - skip);
    std::memcpy(into.data(), text.data() + skip, n);
    return n;
  }
  // Between splices: as far as the next one that has text, or none at all.
  const std::uint64_t end = next < splices_.size() ? begins_[next] : size_;
  const auto n = std::size_t(std::min<std::uint64_t>(into.size(), end - offset));
  return base_.read_at(base_of(offset), into.subspan(0, n));
}

std::uint64_t SplicedSource::base_of(std::uint64_t offset) const {
  std::size_t next = first_after(offset);
  if (next < splices_.size() && begins_[next] == offset) return splices_[next].from;
  if (next == 0) return offset;
  --next;
  return splices_[next].to + (offset - begins_[next] - splices_[next].text.size());
}

std::uint64_t SplicedSource::place_of(std::uint64_t offset) const {
  const auto after =
      std::upper_bound(splices_.begin(), splices_.end(), offset,
                       [](std::uint64_t at, const Splice& s) { return at < s.from; });
  if (after == splices_.begin()) return offset;
  const auto i = std::size_t(after - splices_.begin()) - 1;
  const Splice& s = splices_[i];
  return offset < s.to ? begins_[i] : begins_[i] + s.text.size() + (offset - s.to);
}

}  // namespace forewarm
