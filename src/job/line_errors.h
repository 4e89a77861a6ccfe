// Errors of kind `refused` about a job: of a line, with its place, or of the whole.
#pragma once

#include <string>
#include <utility>

#include "base/error.h"
#include "gcode/lines.h"

namespace forewarm::job {

class LineErrors {
 public:
  // `name`: what messages call the job.
  explicit LineErrors(std::string name) : name_(std::move(name)) {}

  [[nodiscard]] Error of_job(std::string message, std::string hint) const;
  // `column`: from 1.
  [[nodiscard]] Error at(const gcode::RawLine& line, std::size_t column, std::string message,
                         std::string hint) const;
  // The caret stands below the first `letter` of the line.
  [[nodiscard]] Error at_letter(const gcode::RawLine& line, char letter, std::string message,
                                std::string hint) const;

 private:
  std::string name_;
};

}  // namespace forewarm::job
