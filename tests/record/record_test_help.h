// What a record says, as lines of text, for tests.
#pragma once

#include <catch2/catch.hpp>
#include <sstream>
#include <string>

#include "record/record.h"
#include "rules/load.h"

namespace forewarm::test {

// Three toolheads: heater 0, heater 1 with five tools, heater 2.
inline const std::string kThree = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "birch"
tools = [1, 2, 3, 4, 5]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
[[toolhead]]
name = "cedar"
tools = [6]
heater = { index = 2, power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";
inline const std::string kOne = R"(version = 1
[[toolhead]]
name = "ash"
tools = [0]
heater = { power_w = 50, full_drive_c = 450, time_constant_s = 180 }
)";

inline rules::Rules rules_of(const std::string& text) {
  auto rules = rules::load(text, "rules.toml");
  if (!rules) FAIL(render(rules.error()));
  return *rules;
}

// "part 0", "ash: 201.5/202 0.53 @1.5", "echo 3 leave @2, print 1", "stop @3", in order.
class Written final : public record::Listener {
 public:
  std::ostringstream out;

  void part(double from_s, std::uint64_t line) override {
    out << "part " << from_s << " line " << line << '\n';
  }
  void heater(const record::Heater& heater) override { names_.push_back(heater.name); }
  void sample(const record::Sample& s) override {
    out << names_.at(s.heater) << ": " << s.temp_c;
    if (s.target_c) out << '/' << *s.target_c;
    if (s.drive) out << " drive " << *s.drive;
    out << " @" << s.time_s << '\n';
  }
  void echo(const record::Echo& e) override {
    out << "echo " << e.number << ' ' << record::name_of(e.what) << " @" << e.time_s << ", print "
        << e.print << '\n';
  }
  void select(const record::Select& s) override {
    out << "select " << s.tool << " @" << s.time_s << '\n';
  }
  void stop(const record::Stop& s) override {
    out << (s.goes_on ? "go-on @" : "stop @") << s.time_s << '\n';
  }

 private:
  std::vector<std::string> names_;
};

struct ReadRecord {
  std::string said;
  record::Summary summary;
};

inline Result<ReadRecord> try_record(const std::string& text, const rules::Rules& rules,
                                     const std::string& name, std::size_t most = SIZE_MAX) {
  TextSource source(text, most);
  Written written;
  auto summary = record::read(source, rules, {name, {}}, written);
  if (!summary) return std::move(summary.error());
  return ReadRecord{written.out.str(), *summary};
}

inline ReadRecord read_record(const std::string& text, const rules::Rules& rules,
                              const std::string& name = "print.log") {
  auto read = try_record(text, rules, name);
  if (!read) FAIL(render(read.error()) << "\nin:\n" << text);
  // Where reads end makes no difference.
  for (const std::size_t most : {1U, 3U, 64U}) {
    auto again = try_record(text, rules, name, most);
    REQUIRE(again);
    CHECK(again->said == read->said);
  }
  return *read;
}

inline std::string refused(const std::string& text, const rules::Rules& rules,
                           const std::string& name = "print.log") {
  auto read = try_record(text, rules, name);
  if (read) return "read:\n" + read->said;
  CHECK(read.error().kind == Error::Kind::refused);
  return render(read.error());
}

}  // namespace forewarm::test
