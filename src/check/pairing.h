// The lines of a rewritten text, each beside the line of the original that it stands for.
//
// Marks are read with rewrite/marks.h. Where the two texts part without a mark, the nearest point
// at which they agree again is looked for, kWindow lines ahead at most; what lies between is lost,
// added or, where as many lines stand on both sides, changed. What a Step points to is valid until
// the next call. Errors: those of the sources. REQUIRES, with `thread`, which reads the rewritten
// text ahead: that the two sources share nothing that changes.
#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <string>

#include "base/bytes.h"
#include "gcode/linear_move.h"
#include "gcode/lines.h"
#include "gcode/read_ahead.h"
#include "rewrite/marks.h"

namespace forewarm::check {

struct Line {
  std::string_view text;     // of a disabled line: without the mark
  std::uint64_t number = 0;  // from 1, in its own text
};

struct Step {
  enum class Kind : std::uint8_t { header, inserted, disabled, kept, changed, lost, added };
  Kind kind = Kind::kept;
  Line rewritten;  // of `lost` only the number, of the line before which it is missing; or of the
                   // last
  Line original;   // of disabled, kept, changed and lost
  // Of `kept`, where it is known without a further look: what its line is.
  const gcode::LinearMove* straight = nullptr;
};

class Pairing {
 public:
  static constexpr std::size_t kWindow = 64;

  // `original` nullptr: the original is what the marks say.
  Pairing(ByteSource* original, ByteSource& rewritten, std::size_t chunk, bool thread);
  [[nodiscard]] Result<bool> next(Step& step);

  // After the end. What undoing the marks gives.
  [[nodiscard]] std::uint64_t restored_bytes() const;
  [[nodiscard]] std::uint64_t restored_hash() const;
  [[nodiscard]] bool restored_ends_open() const {
    return ends_inserted_open_ || open_ending_.empty();
  }
  // After the end, with an original: its own. REQUIRES: an original was given.
  [[nodiscard]] std::uint64_t original_bytes() const;
  [[nodiscard]] std::uint64_t original_hash() const;
  ~Pairing();

 private:
  enum class Mark : std::uint8_t { header, inserted, disabled, none };
  struct Held {
    std::string text;
    std::uint64_t number = 0;
    Mark mark = {};
  };
  struct Hash;

  [[nodiscard]] Result<bool> next_rewritten(gcode::RawLine& line);
  [[nodiscard]] Result<bool> read_rewritten(gcode::RawLine& line, Mark& mark);
  void restored(const gcode::RawLine& line);
  void hash_run();
  [[nodiscard]] Result<bool> fill();
  [[nodiscard]] Result<bool> from_held(Step& step);
  [[nodiscard]] bool mark_is_next() const;
  [[nodiscard]] static Held take_front(std::deque<Held>& ahead);
  bool held_mark(Step& step);
  bool held_lost(Step& step);
  bool held_line(Step& step);
  void part();

  gcode::ReadAhead rewritten_;
  const gcode::ReadAhead::Read* block_ = nullptr;  // in hand, with its next line
  std::size_t at_ = 0;
  const char* text_ = nullptr;
  std::uint64_t number_ = 0;
  const gcode::LinearMove* straight_ = nullptr;  // what the present line is; else nullptr

  std::optional<gcode::LineReader> original_;
  std::unique_ptr<Hash> hash_;
  std::uint64_t original_numbers_ = 0, last_number_ = 0;
  // Lines of the block restored one after the other, still to be hashed, without the last ending.
  std::string_view run_, run_ending_;
  std::string open_ending_;  // of the last line restored: not sure to be the original's
  bool ends_inserted_open_ = false, ended_ = false;

  // Held back where the texts have parted.
  std::deque<Held> ahead_rewritten_, ahead_original_;
  std::size_t lose_ = 0, add_ = 0, change_ = 0;  // what to do with their fronts
  Held now_rewritten_, now_original_;
};

// The first line of `rewritten`, if it is a header; one that cannot be read says nothing here.
[[nodiscard]] Result<std::optional<rewrite::Header>> header_of(ByteSource& rewritten);

}  // namespace forewarm::check
