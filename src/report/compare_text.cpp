// The comparison as people read it.
#include <fmt/format.h>

#include "report/compare_parts.h"
#include "report/lines.h"

namespace forewarm::report {

namespace {

class Text : private Lines {
 public:
  Text(const Comparison& comparison, std::size_t width)
      : Lines(width), c_(comparison), parts_(comparison) {}

  std::string run() {
    begin(c_.path, c_.rules);
    line("  {}: {} moving", counted(c_.job.layers, "layer", "layers"), duration(c_.job.motion_s));
    add(parts_.figures_table());
    add(parts_.difference_table());
    add(parts_.timer_answer());
    for (const std::string_view key : parts_.swept_keys()) {
      add({.sentences = {parts_.sweep_answer(parts_.rows_of(key))}});
    }
    out_ += '\n';
    add_wrapped(kCautions, 0);
    return std::move(out_);
  }

 private:
  using Lines::add;
  void add(const Answer& answer) {
    out_ += '\n';
    if (!answer.list_head.empty()) line("{}", answer.list_head);
    for (const auto& [name, words] : answer.list) {
      constexpr std::size_t kIndent = 16;
      out_ += fmt::format("{:>14}  ", name) + wrapped(words, kIndent, width_).substr(kIndent);
    }
    for (const std::string& words : answer.sentences) add_wrapped(words, 0);
  }

  const Comparison& c_;
  CompareParts parts_;
};

}  // namespace

std::string text(const Comparison& comparison, std::size_t width) {
  return Text(comparison, width).run();
}

}  // namespace forewarm::report
