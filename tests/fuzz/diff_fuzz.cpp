// Two texts: their diff, applied by an applier of our own, must make the one into the other, and be
// empty exactly where they are equal.
#include "apply_diff.h"
#include "fuzz_help.h"
#include "rewrite/diff.h"
#include "rewrite/marks.h"

using namespace forewarm;
using namespace forewarm::fuzz;

namespace {

// `original` as if rewritten: by each byte of `script` one line is kept, disabled, altered or has
// others put in before it, some of them marked as they should be and some not.
std::string marked(std::string_view original, Cursor script) {
  std::string out = rewrite::header_line({1, original.size(), 2}) + "\n";
  for (const std::string_view line : diff_detail::lines_of(original)) {
    const unsigned pick = script.byte();
    if ((pick & 3U) == 1) out += "M104 S200 ;fw+ because\n";
    if ((pick & 0x1fU) == 2) out += "M104 S200\n";
    if ((pick & 0xcU) == 4) out += rewrite::kDisabled;
    if ((pick & 0x70U) == 0x70) continue;
    out += line;
    if ((pick & 0x80U) != 0 && out.back() != '\n') out += '\n';
  }
  if ((script.byte() & 1U) != 0) {
    if (out.back() != '\n') out += '\n';
    out += "M104 S0 ;fw+ at the end";
  }
  return out;
}

}  // namespace

// The first byte says how the two texts come about and where reads end.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  Cursor in(text_of(data, size));
  const unsigned pick = in.byte();
  constexpr char kBetween = '\xff';
  const std::size_t split = in.rest().find(kBetween);
  std::string first(in.rest().substr(0, split));
  std::string second(split == std::string_view::npos ? "" : in.rest().substr(split + 1));
  if ((pick & 3U) == 3) second = marked(first, Cursor(second));
  if ((pick & 3U) == 2) {
    // Much in common: what comes second stands in the middle of what comes first.
    const std::string middle = second;
    second = first;
    second.insert(second.size() * (pick >> 2U) / 64, middle);
  }
  const std::size_t most = chunk_of(pick / 4);
  TextSource left(first, most);
  TextSource right(second, most);
  TextSink out;
  const auto differ = rewrite::diff(left, right, {"trail.gcode", "the map.gcode"}, out);
  require(differ.ok(), "any two texts have a diff");
  require(*differ == (first != second), "they differ exactly where they are not equal", out.text());
  require(out.text().empty() == (first == second), "no diff of what is equal", out.text());
  const Applied applied = apply_diff(first, out.text());
  require(applied.wrong.empty(), "the diff applies: " + applied.wrong, out.text());
  require(applied.text == second, "the first text, patched, is the second", out.text());
  return 0;
}
