#include "cli/descriptions.h"

namespace forewarm::cli::descriptions {

const std::string_view kProgram =
    "It is made to be the post-process hook of a slicer: forewarm rewrite JOB changes the job in "
    "place. restore gives back the original, byte for byte, and check replays a rewritten job and "
    "says what is wrong with it.\n\nThe machine, its filaments and what is to be done with parked "
    "heaters are described in a rule file, a TOML file of your own. In force is the file that "
    "--rules names, else that of $FOREWARM_RULES, else forewarm/rules.toml in $XDG_CONFIG_HOME or "
    "~/.config. The working folder is never searched. Without any, rewrite and batch write "
    "nothing; all other commands go on with cautious guesses and say so. --rules built-in asks "
    "for the guesses outright.\n\nIn place of a job, a record or a report, - is standard input or "
    "output. A rule file, a matrix and answers are files. Results go to standard output, "
    "everything else to standard error. A report (--json, --csv, --html) is written to a new file, "
    "or replaces an earlier report of the same form; a file that holds anything else is "
    "refused.\n\nexplain WORD says what a key of the rule file, a finding, a word of a report or "
    "an exit code means.";

const std::string_view kRewrite =
    "Plans when each heater of the job is to be hot, and inserts the commands for it: standby or "
    "shutdown where a toolhead is parked for long, and a preheat early enough that the use finds "
    "it hot. A wait for the temperature stands before each use all the same; it takes no time "
    "when all went well. Each inserted line ends in a mark with its reason, and each removed line "
    "stays as a comment, so that restore can undo everything.\n\nEvery movement of filament stays "
    "as it is. So do the start code up to the first print move, and targets that the job gives "
    "while a tool prints. No temperature is invented: each is one that the job itself gave, or "
    "one of the rule file. Every heater is off after its last use.\n\nThe job is replaced "
    "atomically: the file holds either the old bytes or the new. If anything is wrong, the job "
    "stays untouched, one error is printed, and the exit code is not 0. A job that was rewritten "
    "before is planned anew from its original.\n\n"
    "--check replays the rewrite as check does, shows what check would show, and has the report "
    "page and the JSON say it, too. If there are findings, no job is written or replaced, the "
    "reports are, and the exit code is 1.\n\n"
    "--hook is made for a slicer's post-process field: the rewrite is checked before the job is "
    "replaced, and the job stays as it is if the check finds anything. A report page is written "
    "beside the job, or into the folder that --reports names.";

const std::string_view kForecast =
    "Works out when everything in the job will happen, and shows it under four policies side by "
    "side: as sliced, with parked heaters on timers, held hot, and with lookahead, which is what "
    "rewrite writes unless the rule file says otherwise. Below come a timeline of what each "
    "toolhead does, as wide as the terminal, the toolheads, the filaments, the time by cause, and "
    "the gaps that wait or stay hot the longest, each with its reason. The job is not "
    "changed.\n\nWith --start, exchanges get clock times, and with --away the forecast "
    "says how many of them come in hours in which nobody is at the machine, and which start "
    "within 24 hours has the fewest. Where the rule file has odds of stops, the end is simulated "
    "with them: by when the job is done, and with which chance. --ics writes the events of the job "
    "for a calendar; write to the same file each time, and new events replace the old ones. No "
    "clock is read, and there are neither time zones nor daylight-saving time.\n\nWith --sheet it "
    "shows the load sheet instead: what has to be in which toolhead, how much the job needs of "
    "each filament, and, where the rule file has spool_g, until when that is enough.";

const std::string_view kCompare =
    "Shows what other policies and thresholds would have cost or saved: the four policies, timers "
    "with several off times, and each value of a sweep. A second table has the difference of each "
    "row to the job as sliced, and below it the answer is put in words.\n\nWith several --rules, "
    "or "
    "with --set, the rows are rule files instead: each as it is, with each setting by itself, and "
    "with all of them. All are compared with the first.\n\nEach key that is swept "
    "is tried for itself, not each with each. No more than 200 values are tried in all.\n\n--html "
    "writes the same as a page: bars of each figure with the physical bound drawn in, and of each "
    "sweep a curve of each figure.";

const std::string_view kAssign =
    "Finds the assignment of filaments to tools with which the changes of the job take the least "
    "time, or purge the least filament, and lists what to load where. It says whether the "
    "assignment is proved to be the best; if not, it gives a bound that none can be under. The "
    "keys only, never and fixed of a [[filament]] restrict where a filament may go. The job is "
    "not changed: rewrite --map best does that.\n\nThe table that --matrix names is CSV. Its "
    "first row names the filaments that come in, its first column those that go out, by T number "
    "or name; its first cell is the unit, g or mm3.";

const std::string_view kCheck =
    "Replays a rewritten job line by line and judges it without the plan: whether every extruding "
    "move is the original's and in its place, whether inserted lines leave the machine as they "
    "found it, whether filament is only fed and exchanged hot, with a wait before it, and whether "
    "each gap is used as the rules ask. With REWRITTEN alone, the original is what the marks say "
    "that it was.\n\nUse the rule file that the job was rewritten with; a note says so where it "
    "is another. Each finding has the file, the line, an id and the numbers of the case. explain "
    "ID says what an id means.";

const std::string_view kCalibrate =
    "Fits the constants of each heater to records of heating and cooling, and prints the keys of "
    "the rule file with the values. --make-job writes a job that makes such a record; print it, "
    "and give calibrate the log of the host.\n\nThe first row of a CSV names its columns: time_s "
    "or time, temp_c, and where there are target_c, drive or drive_percent, heater. Text logs are "
    "read by [record] and [[observe]] of the rule file.\n\n--html writes a page with the readings, "
    "the fitted lines, and what is left between them.";

const std::string_view kReview =
    "Puts the host's logs of one or more prints beside the plan of the job: where the time went, "
    "which uses were late and why, what changes took, where the machine stood still, and what the "
    "rule file should have said. It finds the changes by the echoes in the job, or else by the "
    "selects that the host sent.\n\nThe job's header has the hash of the rules that it was made "
    "with. They are the rule file in force, that file with .HASH after its name, or what --rules "
    "names. With --write, the file that is changed is the one in force; only values that are "
    "certain enough are written. It also subtracts what the prints took from each spool_g, and "
    "notes these prints in RULES.prints, so that none is subtracted twice.\n\n--html writes a page "
    "with the measured temperatures over the planned ones, the changes and waits as they were and "
    "as they were planned, and what the records lack.";

const std::string_view kBatch =
    "Writes for each job what rewrite makes of it into a folder, under the job's own name, and "
    "leaves the jobs alone. A job that is refused does not stop the others; the exit code is the "
    "highest that the single commands would have had.\n\nRun it again after a kill, or after jobs "
    "were changed: what is good already is kept. manifest.jsonl in the folder says what became of "
    "each job.";

const std::string_view kDiff =
    "Prints a unified diff that patch(1) applies. It knows the marks of a rewritten job, and is "
    "fast on large ones. Behind the second @@ of each hunk stand the layer, the time and the tool "
    "there, and the number of a change of tool. Times are those of the plan by the rule file in "
    "force: use the one that the job was rewritten with. Where ORIGINAL cannot be planned, they "
    "are left out.\n\nWith --gap or --change it shows one place, with three lines of context. That "
    "is a patch as well: it makes of ORIGINAL a job that has the changes of this place only. "
    "--stat counts the lines by the reasons in their marks, of the whole job or of one place.";

const std::string_view kRestore =
    "Undoes a rewrite by its marks. The length and the hash of what comes out are compared with "
    "those in the first line of the job; if they differ, nothing is written.";

const std::string_view kRules =
    "A rule file describes the machine, its filaments, and what is to be done with parked "
    "heaters. forewarm-rules(5) explains every key.";

const std::string_view kRulesCheck =
    "Reads a rule file and says what is wrong with it: the line, the place, and the nearest key "
    "where one is not known. If nothing is, it shows each value that is in force and where it "
    "comes from: the file, a material, --set, or the default. With --job it counts the lines of a "
    "job that each pattern of the file fits. Nothing is written.";

const std::string_view kRulesNew =
    "Prints a commented rule file to start from. With --from it holds what a job shows of the "
    "machine: its tools with their names and temperatures, the limits that it sets, and lines that "
    "nobody knows, each with a table ready to be switched on. --ask asks for what no job shows, on "
    "the terminal; --answers takes the answers from a file. Guesses are marked, and are to be "
    "replaced by what is measured: calibrate and review do that.";

const std::string_view kRulesSchema =
    "Prints a JSON Schema (draft 2020-12) that is made from the table of keys. Editors that know "
    "such schemas complete keys and underline what is wrong.";

const std::string_view kExplain =
    "A key may be given alone or with its section: off_over_s, gap.off_over_s. If a word has "
    "several meanings, all are shown. Case makes no difference, and a blank is as good as a "
    "hyphen or an underscore.";

}  // namespace forewarm::cli::descriptions
