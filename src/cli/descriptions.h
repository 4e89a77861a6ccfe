// What the manual says of each command, besides its options.
//
// Paragraphs, an empty line between two. No markup: the pages are made from them (manual.h).
#pragma once

#include <string_view>

namespace forewarm::cli::descriptions {

extern const std::string_view kProgram;
extern const std::string_view kRewrite;
extern const std::string_view kForecast;
extern const std::string_view kCompare;
extern const std::string_view kAssign;
extern const std::string_view kCheck;
extern const std::string_view kCalibrate;
extern const std::string_view kReview;
extern const std::string_view kBatch;
extern const std::string_view kDiff;
extern const std::string_view kRestore;
extern const std::string_view kRules;
extern const std::string_view kRulesCheck;
extern const std::string_view kRulesNew;
extern const std::string_view kRulesSchema;
extern const std::string_view kExplain;

}  // namespace forewarm::cli::descriptions
