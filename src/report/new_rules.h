// A rule file to start from, as text: from answers, and from what a job shows.
//
// Contract: what comes out loads. What is known from the job says where; all else is marked as a
// guess, with how to measure it. Tables stand in the order of their T numbers. Lines that begin
// with # and no blank are meant to be switched on: without that # they load, too. Pure; names and
// lines from the job are made harmless.
#pragma once

#include <string>

#include "job/survey.h"
#include "rules/questions.h"
#include "rules/rules.h"

namespace forewarm::report {

// Answers by the built-in guesses, and by the tools of a job: each a toolhead of its own, unless
// the job says which toolhead it is in. Without any tool in it, there are no toolheads.
[[nodiscard]] rules::Answers default_answers(const rules::Rules& built_in,
                                             const job::Survey* survey);

// `survey`: null without a job. `job`: its name. REQUIRES: `answers` has toolheads.
[[nodiscard]] std::string new_rules(const rules::Answers& answers, const rules::Rules& built_in,
                                    const job::Survey* survey, const std::string& job);

}  // namespace forewarm::report
