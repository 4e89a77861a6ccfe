#include "check/removed_waits.h"

#include <fmt/format.h>

#include "base/error.h"

namespace forewarm::check {

void RemovedWaits::command(std::size_t head, std::optional<double> temp_c, bool waits) {
  double& waited = waited_c(head);
  if (temp_c && *temp_c < waited) waited = 0;
  if (waits && temp_c) waited = *temp_c;
  if (missing_ && missing_->head == head && waited >= missing_->temp_c) missing_.reset();
}

void RemovedWaits::visit_over() {
  if (!missing_) return;
  if (missing_->after_use) {
    after_use_.push_back(*missing_);
  } else {
    say(*missing_);
  }
  missing_.reset();
}

void RemovedWaits::settle(std::size_t head, bool in_use) {
  if (missing_ && missing_->head == head && !in_use) missing_.reset();
  for (const Wait& wait : after_use_) {
    if (wait.head == head) say(wait);
  }
  std::erase_if(after_use_, [head](const Wait& wait) { return wait.head == head; });
}

void RemovedWaits::say(const Wait& wait) {
  findings_.add(Id::wait_lost, wait.line,
                fmt::format("{}: nothing waits for {:g} C in its place",
                            printable(heads_[wait.head].name), wait.temp_c));
}

}  // namespace forewarm::check
