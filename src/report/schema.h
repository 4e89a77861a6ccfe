// The rule file as a JSON Schema (draft 2020-12), for editors and validators.
//
// Contract: made from the table of keys alone. It accepts what load() accepts, and refuses what is
// wrong about one key: unknown, missing, of another type, out of range. To a schema, 1.0 is a whole
// number, too. What must hold between keys only load() knows. Pure.
#pragma once

#include <string>

namespace forewarm::report {

[[nodiscard]] std::string rules_schema();

}  // namespace forewarm::report
