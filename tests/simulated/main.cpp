// The simulated machine as a program: plays a job, keeps the log that a host would keep, and says
// what was true. Test-only; it shares no source with the program that it judges.
//
//   simulated_machine [--machine M.json] [--seed N] [--record LOG] [--csv FILE] [--truth FILE] JOB
//
// Exit code: 0, the job was played to its end; 1, it was not; 2, the call or the description is
// wrong.
#include <CLI/CLI.hpp>
#include <fstream>
#include <iostream>
#include <memory>

#include "machine.h"

namespace {

using namespace simulated;

std::unique_ptr<std::ofstream> opened(const std::string& name) {
  if (name.empty()) return nullptr;
  auto file = std::make_unique<std::ofstream>(name);
  if (!*file) throw std::runtime_error("cannot write " + name);
  return file;
}

std::ifstream read_from(const std::string& name) {
  std::ifstream file(name);
  if (!file) throw std::runtime_error("cannot read " + name);
  return file;
}

void close(std::ofstream* file, const std::string& name) {
  if (file && !file->flush()) throw std::runtime_error("cannot write " + name);
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app("Plays a job on a simulated machine");
  std::string machine, job, record_name, csv_name, truth_name, start = "2027-03-05T18:00:00";
  std::string times = "seconds", sent = "commands", echoes, settings;
  std::uint64_t seed = 1;
  bool describe = false;
  app.add_option("--machine", machine, "its description, JSON; the built-in one without");
  app.add_option("--seed", seed, "of everything random");
  app.add_option("--record", record_name, "where to write the log");
  app.add_option("--csv", csv_name, "where to write temperatures as CSV");
  app.add_option("--truth", truth_name, "where to write what was true, JSON");
  app.add_option("--times", times, "how the log has them")
      ->check(CLI::IsMember({"seconds", "clock", "stamp"}));
  app.add_option("--start", start, "the moment of its first line");
  app.add_option("--sent", sent, "what was sent, in the log")
      ->check(CLI::IsMember({"none", "commands", "all"}));
  app.add_option("--echoes", echoes, "when M118 is answered")
      ->check(CLI::IsMember({"read", "done"}));
  app.add_option("--settings", settings, "when M104 acts")->check(CLI::IsMember({"read", "done"}));
  app.add_flag("--describe", describe, "prints the description in force, and plays nothing");
  app.add_option("job", job, "the job");
  CLI11_PARSE(app, argc, argv);
  try {
    Description description;
    if (!machine.empty()) {
      std::ifstream file = read_from(machine);
      description = description_of(nlohmann::json::parse(file));
    }
    if (!echoes.empty()) description.echoes = echoes;
    if (!settings.empty()) description.settings = settings;
    if (describe) {
      std::cout << json_of(description).dump(2) << '\n';
      return 0;
    }
    if (job.empty()) throw std::runtime_error("which job?");
    std::ifstream lines = read_from(job);
    const auto log = opened(record_name), csv = opened(csv_name), truth_file = opened(truth_name);
    const Times how = times == "seconds" ? Times::seconds
                      : times == "clock" ? Times::clock
                                         : Times::stamp;
    Record record(log.get(), csv.get(), how, start);
    const Truth truth = play(description, seed, lines, record, sent);
    if (truth_file) *truth_file << json_of(truth).dump(1) << '\n';
    close(log.get(), record_name);
    close(csv.get(), csv_name);
    close(truth_file.get(), truth_name);
    if (truth.gave_up.empty()) return 0;
    std::cerr << "simulated_machine: " << truth.gave_up << '\n';
    return 1;
  } catch (const std::exception& error) {
    std::cerr << "simulated_machine: " << error.what() << '\n';
    return 2;
  }
}
