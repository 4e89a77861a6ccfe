// What a machine leaves behind, as values: temperatures, echoes and stops, in the order in which
// they stand there.
//
// A record is a CSV of temperatures (RFC 4180) or a host's text log. It is read once, from its
// first byte to its last, in memory that does not grow with it; what it says goes to a Listener as
// it comes. Which of the two it is, is told by its first line: the header of a CSV names temp_c,
// and time_s or time.
//
// Time. `time_s` counts from the record's first time, by the record's own clock. Within a part it
// never goes back. A new part begins where the clock goes back by more than kBackS (the host was
// started again, or its clock was set), or on by more than kSilenceS: what is in two parts cannot
// be put on one time scale. A clock without a date that passes midnight goes on. A time that is up
// to kBackS behind the one before, as lines of several threads are, counts as that one.
//
// What is wrong in a record is either counted in the Summary and left out, or refused: an Error of
// kind `refused` with file:line:column. Left out are: lines with NUL bytes, as a power cut leaves
// them; a last line that was cut off; repeated lines (an echo `start` that comes again more than
// kBackS later is another print's); readings without a temperature (an empty
// field, nan, or one outside kColdestC to kHottestC); lines of a text log that have no time, or say
// nothing that is known. Refused are: a CSV whose header or rows cannot be read; a record without a
// single temperature, echo, stop or select; UTF-16; a line of more than kLongestLine bytes.
//
// Texts may hold any bytes: Latin-1 or other, they are matched as bytes.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/bytes.h"
#include "rules/rules.h"

namespace forewarm::record {

inline constexpr double kBackS = 1, kSilenceS = 600;
inline constexpr double kColdestC = -100, kHottestC = 2000;
inline constexpr std::size_t kLongestLine = 1U << 16U;
inline constexpr std::size_t kMostHeaters = 64;

// A heater that the record speaks of. Its place in the list of heaters never changes.
struct Heater {
  std::string name;                      // the toolhead's, else "heater 3", or as the record has it
  std::optional<int> index = {};         // the firmware's number of it
  std::optional<std::size_t> head = {};  // its toolhead, an index into Rules::toolheads
};

struct Sample {
  double time_s = 0;
  std::size_t heater = 0;  // index into the list of heaters
  double temp_c = 0;
  std::optional<double> target_c = {};
  std::optional<double> drive = {};  // 0 to 1
  std::uint64_t line = 0;
  // The drive is that of this moment, as somebody asked for it; else it is so from now on until the
  // next sample of the heater, as whoever drives it writes it down.
  bool drive_is_momentary = false;
};

// `forewarm <number> <what>`, as the rewritten job asks the machine to say it.
struct Echo {
  enum class What { start, leave, there, ready, end };
  double time_s = 0;
  std::uint64_t number = 0;  // of the change
  What what = What::start;
  std::size_t print =
      0;  // how many starts came before, its own included: several prints in one log
  std::uint64_t line = 0;
};

struct Stop {
  double time_s = 0;
  bool goes_on = false;  // the machine goes on, after a stop
  std::uint64_t line = 0;
};

// A line that a host sent: `> T3`, or as [[observe]] has it. The machine may be behind it.
struct Select {
  double time_s = 0;
  int tool = 0;
  std::uint64_t line = 0;
};

class Listener {
 public:
  virtual ~Listener() = default;
  // Comes before the first of what is in it; the first part begins with the record.
  virtual void part(double from_s, std::uint64_t line) = 0;
  // Comes before the first sample of it. `heaters` grows by one at a time.
  virtual void heater(const Heater& heater) = 0;
  virtual void sample(const Sample& sample) = 0;
  virtual void echo(const Echo& echo) = 0;
  virtual void stop(const Stop& stop) = 0;
  virtual void select(const Select&) {}  // who asks for temperatures needs no selects
};

// Ignores all that is not overridden.
class QuietListener : public Listener {
 public:
  void part(double, std::uint64_t) override {}
  void heater(const Heater&) override {}
  void sample(const Sample&) override {}
  void echo(const Echo&) override {}
  void stop(const Stop&) override {}
};

struct Summary {
  enum class Form { csv, text };
  Form form = Form::text;
  std::uint64_t bytes = 0, lines = 0;
  std::uint64_t samples = 0, echoes = 0, stops = 0;
  std::uint64_t selects = 0;     // of lines that a host sent
  double from_s = 0, to_s = 0;   // the earliest time and the latest
  std::uint64_t parts = 0;       // 0 where nothing has a time
  std::uint64_t repeated = 0;    // lines that say again what the one before said
  std::uint64_t untimed = 0;     // lines that say something, at no known time
  std::uint64_t missing = 0;     // readings without a usable temperature
  std::uint64_t damaged = 0;     // lines with NUL bytes
  std::uint64_t unassigned = 0;  // temperatures of a heater that is not known by number
  bool cut_off = false;          // the last line is not whole, and was left out
  std::vector<Heater> heaters = {};
};

struct ReadOptions {
  std::string name = {};                             // of the record, in messages
  std::function<void(std::uint64_t)> progress = {};  // bytes read so far
};

[[nodiscard]] Result<Summary> read(ByteSource& source, const rules::Rules& rules,
                                   const ReadOptions& options, Listener& listener);

[[nodiscard]] const char* name_of(Echo::What what);  // as in the echo: "leave"
[[nodiscard]] std::optional<Echo::What> what_of(std::string_view word);

// What an echo begins with, and what a text says that begins with an echo, whatever follows it.
inline constexpr std::string_view kEchoStart = "forewarm ";
struct Said {
  std::uint64_t number = 0;
  Echo::What what = Echo::What::start;
};
[[nodiscard]] std::optional<Said> said_in(std::string_view text);

}  // namespace forewarm::record
