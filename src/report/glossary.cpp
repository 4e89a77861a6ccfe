#include "report/glossary.h"

#include <array>

namespace forewarm::report {

namespace {

constexpr std::array kWords{
    GlossaryWord{"actual", "review: what the records say that it took, all prints together."},
    GlossaryWord{"actual at",
                 "review: when a change came, from the job's start, as the plan counts."},
    GlossaryWord{"after last",
                 "Waiting after the last use of a toolhead, where the job itself waits there, such "
                 "as for cooling down in end code."},
    GlossaryWord{"against as-sliced",
                 "compare: what each row has more or less than the job as it was sliced."},
    GlossaryWord{"against row 1",
                 "compare: what each rule file, or setting, has more or less than the first one."},
    GlossaryWord{"all", "review: the sum of the rows above."},
    GlossaryWord{"all changes",
                 "assign, compare: the time that all changes of the job take: parking, picking, "
                 "exchanging."},
    GlossaryWord{"as it is", "assign: the assignment of filaments to tools that the job has now."},
    GlossaryWord{"as-sliced", "The job as it stands, without any change to its heating."},
    GlossaryWord{"at", "The time of the row, from the start of the job, or by the clock."},
    GlossaryWord{"bar",
                 "The figures of the row as a bar, on a report page. An upright line across it is "
                 "the physical bound."},
    GlossaryWord{"best",
                 "assign: an assignment of filaments to tools that is proved to be the best that "
                 "the rules allow."},
    GlossaryWord{"best found",
                 "assign: the best assignment of filaments to tools that the search found; a "
                 "better one may exist, but none under the bound that is printed."},
    GlossaryWord{"better",
                 "review: the value that the records speak for, with its standard deviation."},
    GlossaryWord{"by the job",
                 "How long the job's own commands, such as targets within a use, exceed "
                 "heating_limit_w. No plan changes that. The start code is not counted."},
    GlossaryWord{
        "cause",
        "What a part of the job's time goes to. The causes together make up the duration."},
    GlossaryWord{"chance of none",
                 "The probability that no change of the job stops the machine, by the odds of the "
                 "rule file."},
    GlossaryWord{
        "changes",
        "How often the job changes to another tool, by toolhead, by filament, or by both."},
    GlossaryWord{
        "cold starts",
        "How often a heater is switched on again from off. Each costs time, energy and wear."},
    GlossaryWord{"count", "review: how many changes the figures of the row come from."},
    GlossaryWord{"day", "The date on which the exchanges of the row come."},
    GlossaryWord{"difference", "review: the measured temperature less that of the plan's replay."},
    GlossaryWord{
        "dip", "The lowest temperature that a parked heater reaches in a gap, in degrees Celsius."},
    GlossaryWord{"done on average",
                 "forecast --start: when the job ends, on average over the trials of the "
                 "simulation, with the time that stops take."},
    GlossaryWord{"duration", "The time from the first to the last line of a job, waits included."},
    GlossaryWord{"echo",
                 "A line that the rewritten job has the firmware send back, so that a record shows "
                 "where the print is. review finds the changes by it."},
    GlossaryWord{"energy",
                 "What the heaters of the toolheads draw over the whole job, in watt-hours. The "
                 "bed, motors and electronics are not in it."},
    GlossaryWord{
        "enough until",
        "When the spool has no more to give, as the plan goes; \"the end\" where it is enough."},
    GlossaryWord{"exchange",
                 "A feeder takes one filament out of a toolhead and brings another in. The nozzle "
                 "has to be hot for it."},
    GlossaryWord{"exchanges",
                 "As a cause of waiting: for a nozzle to be hot enough for an exchange. As a "
                 "count: how often a feeder brings this filament in, or exchanges in all."},
    GlossaryWord{
        "exchanges then",
        "How many of the job's exchanges come in hours in which nobody is at the machine."},
    GlossaryWord{"exchanges, by the hour", "How many exchanges come in each hour of that day."},
    GlossaryWord{
        "exchanging",
        "The time in which feeders exchange filaments, as exchange_s of the rule file has it."},
    GlossaryWord{"expected stops then",
                 "How many stops are to be expected in hours in which nobody is at the machine, by "
                 "the odds of the rule file."},
    GlossaryWord{"exposure",
                 "The time for which heaters are hot without need. Hot idle measures it."},
    GlossaryWord{"feeder",
                 "A device that exchanges the filament of one toolhead, and so serves several T "
                 "numbers with it."},
    GlossaryWord{
        "filament",
        "What is loaded under one T number: its name in the rule file, or else its T number."},
    GlossaryWord{"filament changes", "How often a feeder has to exchange a filament."},
    GlossaryWord{"finding",
                 "Something that check holds against a rewritten job. Each has an id; explain ID "
                 "says what it means."},
    GlossaryWord{"fitted", "calibrate: what the model of the heater has at the time of a reading."},
    GlossaryWord{"from",
                 "When the gap begins: the last movement of filament before the toolhead is "
                 "parked. Counted from the start of the job."},
    GlossaryWord{
        "gap",
        "The time in which a toolhead is not used: from its last movement of filament to the place "
        "where it is picked again. The last gap of each toolhead goes to the end of the job."},
    GlossaryWord{"had", "review: how hot a toolhead was when its change needed it."},
    GlossaryWord{"heating power",
                 "The table of what the heaters draw, where the rule file has heating_limit_w."},
    GlossaryWord{"hold",
                 "As a treatment: the heater stays hot over the whole gap. As a policy: no parked "
                 "heater ever cools. As a count: the gaps treated so."},
    GlossaryWord{"hot idle",
                 "The time that parked heaters spend more than 5 C above their standby "
                 "temperatures, summed over all heaters."},
    GlossaryWord{"hot-end energy",
                 "What the heaters of the toolheads draw over the whole job, in watt-hours. The "
                 "bed, motors and electronics are not in it."},
    GlossaryWord{"inserted",
                 "diff --stat: how many lines of the rewritten job are not the original's."},
    GlossaryWord{"key", "A key of the rule file."},
    GlossaryWord{"kind",
                 "What a change does: it parks a toolhead and picks another one, has a filament "
                 "exchanged, does both, or nothing."},
    GlossaryWord{"late", "A use is late where the machine has to wait for its heater."},
    GlossaryWord{"layer", "The layer that has begun by then; 0 before the first."},
    GlossaryWord{"lead",
                 "How long before a use its heater has to be set, so that it is hot in time."},
    GlossaryWord{"left", "review: what is left on the spool after the prints, in grams."},
    GlossaryWord{"line", "The number of the line in the job."},
    GlossaryWord{
        "load",
        "assign and the load sheet: the T number that the filament of the row is to be loaded "
        "under."},
    GlossaryWord{"lookahead",
                 "The policy of forewarm: each gap is held, put on standby or switched off, as its "
                 "length allows, and the heater is hot again just in time."},
    GlossaryWord{"lost to stops",
                 "forecast --start: the time that stops add to the job, on average over the trials "
                 "of the simulation."},
    GlossaryWord{"mark",
                 "What rewrite adds to a line that it inserted or removed, so that restore can "
                 "undo it, with the reason."},
    GlossaryWord{
        "material",
        "The material of a filament, by which it shares the keys of a [material.NAME] table."},
    GlossaryWord{"mean", "review: the mean of what the changes took, in seconds."},
    GlossaryWord{"measured", "review, calibrate: what the record has read."},
    GlossaryWord{
        "median",
        "review: the median of what the changes took, in seconds: half of them took less."},
    GlossaryWord{"message", "check: what is wrong, with the numbers of the case."},
    GlossaryWord{"more", "review: the actual time less the planned one."},
    GlossaryWord{"moving", "The time in which the machine moves, its accelerations included."},
    GlossaryWord{"needed",
                 "The filament that the job takes from the spool at most, in grams, step sequences "
                 "included."},
    GlossaryWord{"needed at", "review: how hot a toolhead was to be for its change."},
    GlossaryWord{"now", "review: the value that is in force."},
    GlossaryWord{"of", "review: how many observations the better value comes from."},
    GlossaryWord{"off",
                 "As a treatment: the heater is switched off for the gap, and heated from there. "
                 "As a count: the gaps treated so."},
    GlossaryWord{"on spool",
                 "The filament on the spool, in grams, as spool_g of the rule file has it."},
    GlossaryWord{
        "other",
        "The time that dwells take, and commands that a [[duration]] of the rule file knows."},
    GlossaryWord{
        "over the limit",
        "For how long the heaters at full drive draw more than heating_limit_w leaves them. The "
        "start code is not counted."},
    GlossaryWord{"over the limit by the job",
                 "How long the job's own commands, such as targets within a use, exceed "
                 "heating_limit_w. No plan changes that. The start code is not counted."},
    GlossaryWord{"park, pick",
                 "The time for parking toolheads and picking others, as park_s and pick_s of the "
                 "rule file have it."},
    GlossaryWord{"parked", "Waiting for a toolhead that was parked and is not hot yet."},
    GlossaryWord{"parking and picking", "The time for parking toolheads and picking others."},
    GlossaryWord{"part", "The filament that goes into the part, in grams."},
    GlossaryWord{"pauses",
                 "Where the job stops until somebody goes on. Nobody knows how long that takes; "
                 "the times of the plan leave it out."},
    GlossaryWord{"peak heating power",
                 "The most that the heaters draw at once at full drive. What holding a temperature "
                 "takes is not counted."},
    GlossaryWord{"peak heating power with holding",
                 "The most that the heaters draw at once, with what holding a temperature takes."},
    GlossaryWord{"peak power",
                 "The most that the heaters draw at once at full drive. What holding a temperature "
                 "takes is not counted."},
    GlossaryWord{
        "physical bound",
        "The least waiting and the least hot idle that any plan could reach in the job's gaps, "
        "given how the heaters warm and cool. Start code and exchanges may wait as well."},
    GlossaryWord{"planned", "review: what the plan of the printed job said that it would take."},
    GlossaryWord{"planned at",
                 "review: when a change was to come, from the job's start, waits included."},
    GlossaryWord{"planned wait",
                 "review: how long the plan waits for a change, before and after it."},
    GlossaryWord{"policy",
                 "What parked heaters do: as-sliced, timers, hold or lookahead. The key policy of "
                 "[gap] says which one rewrite follows."},
    GlossaryWord{"preheat",
                 "The command that sets a parked heater to its working temperature ahead of its "
                 "use. As a column: when it is given."},
    GlossaryWord{"priming",
                 "The filament that step sequences feed besides their purge, forwards less "
                 "backwards, in grams."},
    GlossaryWord{"print", "review: the number of a print in the records, in their order."},
    GlossaryWord{"purge",
                 "The filament that is extruded to clean a nozzle and does not go into the part, "
                 "in grams or cubic millimetres."},
    GlossaryWord{
        "purge by exchanges",
        "The part of the purge that exchanges make, by exchange_purge_mm3 of the rule file."},
    GlossaryWord{"purge by sequences",
                 "The part of the purge that step sequences make at exchanges."},
    GlossaryWord{"purge by the job",
                 "The part of the purge that the job extrudes itself, as purge_area_mm or a "
                 "pattern of the rule file tells it."},
    GlossaryWord{"reason",
                 "Why the gap is treated as it is, with its numbers. diff --stat: what the mark of "
                 "an inserted line begins with; of removed lines, the command."},
    GlossaryWord{"record",
                 "What a machine or its host wrote down while it printed: temperatures as CSV, or "
                 "a text log."},
    GlossaryWord{"removed",
                 "diff --stat: how many lines of the original are gone from the rewritten job, or "
                 "are a comment in it."},
    GlossaryWord{"residual", "calibrate: a reading less what the model of the heater has then."},
    GlossaryWord{"row",
                 "compare: the number of a rule file, or of a setting in it; what it is stands "
                 "above the table."},
    GlossaryWord{"rule", "review: the value of the rule file, in seconds."},
    GlossaryWord{"sd", "review: the standard deviation of what the changes took, in seconds."},
    GlossaryWord{"sequences", "The time that step sequences take, and what they wait for."},
    GlossaryWord{"share", "The part of the whole duration, in per cent."},
    GlossaryWord{
        "spools",
        "The table of what the job takes from the spools, where the rule file has spool_g."},
    GlossaryWord{"standby",
                 "A lower temperature that a parked heater is kept at, standby_c of the rule file. "
                 "As a treatment: the gap is spent at it. As a count: the gaps treated so."},
    GlossaryWord{"start", "forecast --start: which of the starts that were tried a row is about."},
    GlossaryWord{"start code",
                 "The commands before the first move that prints. As a cause of waiting: what the "
                 "job waits for there."},
    GlossaryWord{"started", "The time at which the job is started."},
    GlossaryWord{"step sequences", "The time that step sequences take, and what they wait for."},
    GlossaryWord{"stopped", "review: how long the machine stood still in a change."},
    GlossaryWord{
        "stops",
        "review: the time for which the print stood still and nothing in the job says why."},
    GlossaryWord{"stretch", "calibrate: a heat-up or a cool-down, from its beginning to its end."},
    GlossaryWord{"sweep", "compare --sweep: a number of [gap] that is tried at several values."},
    GlossaryWord{"text", "The line itself, as the job has it."},
    GlossaryWord{"time", "The duration of the whole job, or the time that goes to a cause."},
    GlossaryWord{
        "time by cause",
        "The table of what the time of the job goes to. The causes together make up the duration."},
    GlossaryWord{"time went to",
                 "review: the table of what the time of the prints went to, planned and actual."},
    GlossaryWord{
        "timers",
        "The policy of many firmwares: a parked heater goes to standby, then off, after fixed "
        "times (timer_standby_s and timer_off_s), and is heated again when it is wanted."},
    GlossaryWord{"to",
                 "When the gap ends: the place where the toolhead is picked again. Counted from "
                 "the start of the job."},
    GlossaryWord{"together", "The sum of the rows above."},
    GlossaryWord{"took", "review: what the prints took from the spool, all together, in grams."},
    GlossaryWord{"tool", "A T number. Several of them may be one toolhead, if a feeder serves it."},
    GlossaryWord{"toolhead", "What carries a hot end and can be parked. Each has one heater."},
    GlossaryWord{"toolhead changes", "How often one toolhead is parked and another one picked."},
    GlossaryWord{"treatment", "What is done with the heater in a gap: hold, standby or off."},
    GlossaryWord{
        "usable",
        "The part of spool_g that counts, in grams: the share spool_margin is kept in reserve."},
    GlossaryWord{
        "use",
        "Any movement of filament of a toolhead, pulled or pushed, from picking it to parking it."},
    GlossaryWord{"uses", "How often the toolhead is used: picked, and moves filament."},
    GlossaryWord{
        "value",
        "calibrate: what a key of the rule file should have, with its standard error behind +-."},
    GlossaryWord{"wait", "How long the machine stands still there for a heater."},
    GlossaryWord{"waited", "review: how long a change was waited for, before and after it."},
    GlossaryWord{
        "waiting",
        "The time in which the machine stands still because a heater is not at its target."},
    GlossaryWord{
        "waiting for",
        "The table of what the machine waits for. The columns together make up the waiting."},
    GlossaryWord{"waits although all is warm",
                 "What waits take although all is warm, as wait_takes_s of the rule file has it."},
    GlossaryWord{"warm waits",
                 "What waits take although all is warm, as wait_takes_s of the rule file has it."},
    GlossaryWord{"where",
                 "The layer and the line in which the spool runs out, and the change before them."},
    GlossaryWord{"with holding",
                 "The most that the heaters draw at once, with what holding a temperature takes."},
    GlossaryWord{
        "within uses",
        "Waiting while a toolhead is in use: for a temperature that the job changes there."},
    GlossaryWord{"worst gaps",
                 "The gaps that make the machine wait longest, then those that stay hot longest. "
                 "The column has their toolheads."},
};

}  // namespace

std::span<const GlossaryWord> glossary() { return kWords; }

}  // namespace forewarm::report
