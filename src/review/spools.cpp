#include "review/spools.h"

#include <algorithm>
#include <map>

#include "job/spools.h"

namespace forewarm::review {

std::vector<SpoolUse> spools_of(const Review& review, const job::Job& printed,
                                const rules::Rules& rules) {
  std::map<int, double> taken_mm;
  for (const PrintEnd& end : review.ends) {
    for (const auto& [tool, taken] : job::taken(printed, {}, end.visits)) {
      taken_mm[tool] += end.counted_before ? 0 : taken.most_mm;
    }
  }
  std::vector<SpoolUse> out;
  for (const auto& [tool, mm] : taken_mm) {
    const rules::Filament filament = rules.filament(tool);
    SpoolUse use{.tool = tool, .filament = filament.name};
    use.took_g = mm * filament.area_mm2() * filament.density_g_cm3 / 1000;
    use.spool_g = filament.spool_g;
    if (use.spool_g) use.left_g = std::max(0.0, *use.spool_g - use.took_g);
    out.push_back(std::move(use));
  }
  return out;
}

}  // namespace forewarm::review
