// A machine's records as commands read them.
#pragma once

#include <string>
#include <vector>

#include "cli/context.h"
#include "record/stretches.h"
#include "report/calibration.h"

namespace forewarm::cli {

// With progress on a terminal.
[[nodiscard]] Result<report::CalibratedRecord> read_record(const Context& context,
                                                           const std::string& path,
                                                           const rules::Rules& rules,
                                                           record::Listener& listener);

// The stretches of a heater, over all records.
void add_stretches(std::vector<record::HeaterStretches>& all,
                   std::vector<record::HeaterStretches> more);

// Both hear the same.
class Both final : public record::Listener {
 public:
  Both(record::Listener& one, record::Listener& other) : one_(one), other_(other) {}
  void part(double from_s, std::uint64_t line) override;
  void heater(const record::Heater& heater) override;
  void sample(const record::Sample& sample) override;
  void echo(const record::Echo& echo) override;
  void stop(const record::Stop& stop) override;
  void select(const record::Select& select) override;

 private:
  record::Listener &one_, &other_;
};

}  // namespace forewarm::cli
