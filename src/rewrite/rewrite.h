// Plan and original to the rewritten text.
//
// What is not edited is copied byte for byte, in long spans. Line endings follow the neighbouring
// line. In a numbered job each inserted line carries a number and a checksum, and each block ends
// in an M110 that sets the count back, so that the job's own lines stay as they are.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.h"
#include "plan/plan.h"

namespace forewarm::rewrite {

struct Edit {
  enum class Kind : std::uint8_t { insert, disable };
  std::uint64_t offset = 0;  // of the line inserted before, or disabled
  Kind kind = Kind::insert;
  std::string command, reason;  // of an insertion
};

// The plan as edits in the order of the text; [dialect] decides how commands are written.
[[nodiscard]] std::vector<Edit> edits_of(const job::Job& job, const plan::Plan& plan,
                                         const rules::Rules& rules);

// What a rewritten text consists of, piece by piece.
class EditSink {
 public:
  virtual ~EditSink() = default;
  // original[from, to), unchanged; whole lines.
  [[nodiscard]] virtual Status keep(std::uint64_t from, std::uint64_t to) = 0;
  // original[from, to), one line, with the mark before it.
  [[nodiscard]] virtual Status disable(std::uint64_t from, std::uint64_t to) = 0;
  // A new line, ending included. `joins`: a line ending is put first because the line before, at
  // the end of an original without one, has none.
  [[nodiscard]] virtual Status insert(std::string_view line, std::string_view joins) = 0;
};

[[nodiscard]] Status rewrite(ByteSource& original, const job::Job& job,
                             const std::vector<Edit>& edits, std::uint64_t rules_hash,
                             EditSink& out);

// The usual receiver: bytes to a sink.
class ToSink final : public EditSink {
 public:
  ToSink(ByteSource& original, ByteSink& sink) : original_(original), sink_(sink) {}
  Status keep(std::uint64_t from, std::uint64_t to) override;
  Status disable(std::uint64_t from, std::uint64_t to) override;
  Status insert(std::string_view line, std::string_view joins) override;

 private:
  ByteSource& original_;
  ByteSink& sink_;
};

}  // namespace forewarm::rewrite
