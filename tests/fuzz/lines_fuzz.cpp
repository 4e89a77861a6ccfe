// Bytes as lines, words and modal state. What comes out may not depend on where reads end, puts
// together to what went in, and leaves positions that can be reckoned with.
#include <bit>
#include <cmath>
#include <vector>

#include "fuzz_help.h"
#include "gcode/lines.h"
#include "gcode/state.h"
#include "gcode/words.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

struct Seen {
  std::string text;  // texts and endings, one after the other
  std::vector<std::uint64_t> offsets;
  std::vector<std::uint64_t> words;  // a digest of each line's
  std::vector<gcode::State> states;
};

std::uint64_t digest(const gcode::Words& w) {
  std::uint64_t sum = 0;
  const auto mix = [&sum](std::uint64_t x) {
    sum = (sum ^ x) * 0x9e3779b97f4a7c15U + (sum >> 29U);
  };
  mix(std::uint64_t(w.kind) * 16 + w.numbered * 8U + w.has_checksum * 4U + w.checksum_ok * 2U +
      w.block_deleted);
  mix(w.numbered ? std::uint64_t(w.number) : 0);
  mix(w.mask);
  for (std::size_t i = 0; i < w.count; ++i) {
    mix(std::uint64_t(w.list[i].letter));
    mix(std::isnan(w.list[i].value) ? 1 : std::bit_cast<std::uint64_t>(w.list[i].value));
  }
  mix(w.code.size());
  mix(w.name.size());
  return sum;
}

void check_words(const gcode::Words& w, std::string_view line) {
  require(w.count <= gcode::Words::kMost, "no more words than there is room for", line);
  require(w.code.size() <= line.size() && w.code.data() >= line.data() &&
              w.code.data() + w.code.size() <= line.data() + line.size(),
          "the code lies in the line", line);
  require(w.name.empty() == (w.kind != gcode::LineKind::named), "a name where it is a name", line);
  std::uint32_t mask = 0;
  for (std::size_t i = 0; i < w.count; ++i) {
    const gcode::Word& word = w.list[i];
    require(word.letter >= 'A' && word.letter <= 'Z', "a word begins with a letter", line);
    require(!std::isinf(word.value), "a word's number is finite", line);
    mask |= 1U << unsigned(word.letter - 'A');
  }
  require(mask == w.mask, "the mask holds the words' letters", line);
}

void check_state(const gcode::State& s, const gcode::Effect& e, std::string_view line) {
  for (std::size_t a = 0; a < 4; ++a) {
    require(std::isfinite(s.position[a]) && std::isfinite(s.offset[a]), "positions are finite",
            line);
    require(std::isfinite(e.delta[a]), "a move's length is finite", line);
  }
  require(!std::isnan(s.feed_mm_s) && s.feed_mm_s > 0, "the feed is more than 0", line);
  require(s.motion >= -1 && s.motion <= 3, "the motion in force is one that there is", line);
  require(s.tool >= -1 && s.tool <= 65535, "a tool is a small number", line);
  require(std::isfinite(e.dwell_s) && e.dwell_s >= 0, "a dwell takes no less than no time", line);
  require(!e.has_temp || std::isfinite(e.temp_c), "a temperature is finite", line);
  if (e.arc) {
    require(std::isfinite(e.arc->length_mm) && std::isfinite(e.arc->sweep), "an arc is finite",
            line);
  }
}

// `most`: what one read gives; `chunk`: what the reader asks for.
Seen read(std::string_view text, std::size_t most, std::size_t chunk) {
  TextSource source(text, most);
  gcode::LineReader reader(source, 0, UINT64_MAX, 1, chunk);
  gcode::RawLine line;
  gcode::Words words;
  gcode::State state;
  gcode::Effect effect;
  Seen seen;
  for (;;) {
    const auto more = reader.next(line);
    require(more.ok(), "text can be read");
    if (!*more) break;
    require(line.text.find('\n') == std::string_view::npos, "a line has no line feed", line.text);
    require(line.ending == "\n" || line.ending == "\r\n" || line.ending.empty(),
            "an ending is one");
    require(line.offset == seen.text.size(), "a line begins where the last one ended", line.text);
    seen.offsets.push_back(line.offset);
    require(line.number == seen.offsets.size(), "lines are counted from 1", line.text);
    gcode::parse(line.text, words);
    check_words(words, line.text);
    gcode::apply(words, state, effect);
    check_state(state, effect, line.text);
    seen.text.append(line.text).append(line.ending);
    seen.states.push_back(state);
    seen.words.push_back(digest(words));
  }
  require(seen.text == text, "lines and endings put together are the text");
  return seen;
}

}  // namespace

// The first byte picks the boundaries; the rest is the text.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Cursor in(text_of(data, size));
  const unsigned pick = in.byte();
  const Seen whole = read(in.rest(), SIZE_MAX, in.rest().size() + 1);
  const Seen pieces = read(in.rest(), chunk_of(pick), chunk_of(pick / 6));
  require(whole.offsets == pieces.offsets, "lines do not depend on where reads end");
  require(whole.states == pieces.states, "states do not depend on where reads end");
  require(whole.words == pieces.words, "words do not depend on where reads end");
  return 0;
}
