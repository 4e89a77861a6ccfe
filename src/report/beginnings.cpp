#include "report/beginnings.h"

namespace forewarm::report {

static_assert(kPageBeginning.size() <= kMaxBeginning);

const char* name_of(Form form) {
  switch (form) {
    case Form::html:
      return "HTML";
    case Form::json:
      return "JSON";
    case Form::calendar:
      return "iCalendar";
    case Form::csv:
      break;
  }
  return "CSV";
}

bool begins_as(Form form, std::string_view text) {
  switch (form) {
    case Form::html:
      return text.starts_with(kPageBeginning);
    case Form::json:
      return text.starts_with(kJsonBeginning);
    case Form::calendar:
      return text.starts_with(kCalendarBeginning);
    case Form::csv:
      break;
  }
  return text.starts_with(kChangesBeginning) || text.starts_with(kReviewBeginning) ||
         text.starts_with(kComparisonBeginning);
}

}  // namespace forewarm::report
