#include "rewrite/runs.h"

#include <cstring>

#include "rewrite/marks.h"

namespace forewarm::rewrite {

std::string_view last_ending(std::string_view bytes) {
  if (bytes.empty() || bytes.back() != '\n') return {};
  const bool both = bytes.size() > 1 && bytes[bytes.size() - 2] == '\r';
  return bytes.substr(bytes.size() - (both ? 2 : 1));
}

void RunReader::give(Run& run, Run::Kind kind, std::size_t to) {
  run.kind = kind;
  run.bytes = block_.text().substr(at_, to - at_);
  run.offset = block_.offset + at_;
  at_ = to;
}

Result<bool> RunReader::next(Run& run) {
  if (at_ == block_.size) {
    std::string_view fresh;
    auto more = reader_.next(block_, fresh);
    if (!more || !*more) return more;
    at_ = marked_to_ = 0;
  }
  const std::string_view text = block_.text();
  if (!begun_) {
    begun_ = true;
    const std::size_t lf = text.find('\n');
    give(run, Run::Kind::first, lf == std::string_view::npos ? text.size() : lf + 1);
    return true;
  }
  if (marked_to_ > at_) {  // the marked line that ended the run before
    give(run, marked_as_, marked_to_);
    return true;
  }
  for (std::size_t from = at_; from < text.size();) {
    const std::size_t at = find_mark(text, from);
    if (at == std::string_view::npos) break;
    const auto* before = static_cast<const char*>(memrchr(text.data() + from, '\n', at - from));
    const std::size_t begin = before == nullptr ? from : std::size_t(before - text.data()) + 1;
    const std::size_t lf = text.find('\n', at);
    const std::size_t end = lf == std::string_view::npos ? text.size() : lf + 1;
    const std::string_view line = text.substr(begin, end - begin);
    from = end;
    if (is_inserted(line)) {
      marked_as_ = Run::Kind::inserted;
    } else if (is_disabled(line)) {
      marked_as_ = Run::Kind::disabled;
    } else {
      continue;  // an ordinary comment
    }
    marked_to_ = end;
    if (begin == at_) {
      give(run, marked_as_, end);
    } else {
      give(run, Run::Kind::plain, begin);
    }
    return true;
  }
  give(run, Run::Kind::plain, text.size());
  return true;
}

}  // namespace forewarm::rewrite
