// The check, checked: good rewrites have no findings; every corruption that changes what the
// machine does has one; harmless ones have none. Prints the share found, by kind.
#include <fmt/format.h>

#include <catch2/catch.hpp>
#include <functional>
#include <map>
#include <optional>
#include <sstream>

#include "gcode/words.h"
#include "help/jobs.h"
#include "help/random_job.h"
#include "help/rewritten.h"
#include "help/text.h"
#include "rewrite/marks.h"

using namespace forewarm;
using test::joined;
using test::Lines;
using test::lines_of;
using test::print;
using test::RandomJob;
using test::report_of;
using test::rewrite_of;

namespace {

struct Pair {
  std::string original, rewritten;
  std::string trace;  // what the rewritten text does
};

const rules::Rules& bench_machine() {
  static const rules::Rules r = test::rules_of(test::kThreeHeads);
  return r;
}

bool ours(const std::string& l) { return rewrite::is_inserted(l); }
bool disabled(const std::string& l) { return rewrite::is_disabled(l); }
bool extrudes(const std::string& l) {
  return l.starts_with("G1 X") && l.find(" E") != std::string::npos;
}
bool selects(const std::string& l) { return l.size() >= 2 && l[0] == 'T'; }
bool reason(const std::string& l, const std::string& r) {
  return l.find(" ;fw+ " + r) != std::string::npos;
}
std::string number_in(const std::string& l, char letter) {
  const auto at = l.find(letter, 1);
  if (at == std::string::npos) return "";
  std::size_t end = at + 1;
  while (end < l.size() && (std::isdigit(l[end]) != 0 || l[end] == '.' || l[end] == '-')) ++end;
  return l.substr(at + 1, end - at - 1);
}
std::string with_number(const std::string& l, char letter, const std::string& value) {
  const auto at = l.find(letter, 1);
  return l.substr(0, at + 1) + value + l.substr(at + 1 + number_in(l, letter).size());
}
std::string nudged(const std::string& l, char letter, double by) {
  return with_number(l, letter, fmt::format("{:g}", std::stod(number_in(l, letter)) + by));
}

// Changes `lines` in place at one point; false if it finds none that would change what happens.
using Mutate = std::function<bool(Lines& lines, RandomJob& random)>;

// The index of a random line of which `wanted` holds, after the header.
std::optional<std::size_t> pick(const Lines& lines, RandomJob& random,
                                const std::function<bool(std::size_t)>& wanted) {
  std::vector<std::size_t> all;
  for (std::size_t i = 1; i < lines.size(); ++i) {
    if (wanted(i)) all.push_back(i);
  }
  if (all.empty()) return std::nullopt;
  return all[random.below(all.size())];
}
// A kind of corruption on the line that `wanted` picks.
template <class Wanted, class Change>
Mutate on(Wanted wanted, Change change) {
  return [=](Lines& lines, RandomJob& random) {
    const auto i = pick(lines, random, [&](std::size_t k) { return wanted(lines, k); });
    return i && change(lines, *i, random);
  };
}
bool erase(Lines& lines, std::size_t i, RandomJob&) {
  lines.erase(lines.begin() + long(i));
  return true;
}

auto is(bool (*what)(const std::string&)) {
  return [what](const Lines& lines, std::size_t i) { return what(lines[i]); };
}
auto rationale(const std::string& r) {
  return [r](const Lines& lines, std::size_t i) { return reason(lines[i], r); };
}

// A preheat that is not given at its gap's own start: it could be moved either way.
bool free_preheat(const Lines& lines, std::size_t i) {
  return reason(lines[i], "preheat: ") && lines[i].find(" ahead, from ") != std::string::npos;
}

// Seconds that lines take, roughly: length over feed.
double seconds_of(const std::string& l) {
  static double x = 0;
  static double y = 0;
  if (!l.starts_with("G0 X") && !l.starts_with("G1 X")) return 0;
  const double nx = std::stod(number_in(l, 'X'));
  const double ny = std::stod(number_in(l, 'Y'));
  const double f = std::stod(number_in(l, 'F')) / 60;
  const double s = std::hypot(nx - x, ny - y) / f;
  x = nx;
  y = ny;
  return s;
}

// Moves line `i` so far that about `seconds` pass between, never across another line that is ours
// or a select.
bool shift(Lines& lines, std::size_t i, double seconds, bool later) {
  double passed = 0;
  std::size_t k = i;
  for (;;) {
    const std::size_t next = later ? k + 1 : k - 1;
    if (next == 0 || next >= lines.size() || ours(lines[next]) || disabled(lines[next]) ||
        selects(lines[next])) {
      return false;
    }
    k = next;
    passed += seconds_of(lines[k]);
    if (passed >= seconds) break;
  }
  const std::string moved = lines[i];
  lines.erase(lines.begin() + long(i));
  lines.insert(lines.begin() + long(later ? k : k), moved);
  return true;
}

double lead_of(const std::string& l) {
  const auto at = l.find("preheat: ");
  return std::stod(l.substr(at + 9));
}

const std::map<std::string, Mutate>& harmful() {
  static const std::map<std::string, Mutate> kinds{
      {"extruding move deleted", on(is(extrudes), erase)},
      {"extruding move doubled", on(is(extrudes),
                                    [](Lines& l, std::size_t i, RandomJob&) {
                                      l.insert(l.begin() + long(i), l[i]);
                                      return true;
                                    })},
      {"extruding moves swapped",
       on([](const Lines& l, std::size_t i) {
         return i + 2 < l.size() && extrudes(l[i]) && extrudes(l[i + 2]) && l[i] != l[i + 2];
       },
          [](Lines& l, std::size_t i, RandomJob&) {
            std::swap(l[i], l[i + 2]);
            return true;
          })},
      {"position nudged", on(is(extrudes),
                             [](Lines& l, std::size_t i, RandomJob& r) {
                               l[i] = nudged(l[i], r.below(2) == 0 ? 'X' : 'Y', 0.01);
                               return true;
                             })},
      {"extrusion nudged", on(is(extrudes),
                              [](Lines& l, std::size_t i, RandomJob&) {
                                l[i] = nudged(l[i], 'E', 0.001);
                                return true;
                              })},
      {"feed nudged", on(is(extrudes),
                         [](Lines& l, std::size_t i, RandomJob&) {
                           l[i] = nudged(l[i], 'F', 1);
                           return true;
                         })},
      {"travel deleted",
       on([](const Lines& l, std::size_t i) { return l[i].starts_with("G0 X"); }, erase)},
      {"height deleted",
       on([](const Lines& l, std::size_t i) { return l[i].starts_with("G0 Z"); }, erase)},
      {"extrusion mode flipped",
       on([](const Lines& l, std::size_t i) { return l[i] == "M82" || l[i] == "M83"; },
          [](Lines& l, std::size_t i, RandomJob&) {
            l[i] = l[i] == "M82" ? "M83" : "M82";
            return true;
          })},
      {"select deleted", on(is(selects), erase)},
      {"select of another tool", on(is(selects),
                                    [](Lines& l, std::size_t i, RandomJob&) {
                                      l[i] = fmt::format("T{}", (l[i][1] - '0' + 1) % 5);
                                      return true;
                                    })},
      {"select put in", on(is(extrudes),
                           [](Lines& l, std::size_t i, RandomJob& r) {
                             l.insert(l.begin() + long(i),
                                      fmt::format("T{} ;fw+ a select", r.below(5)));
                             return true;
                           })},
      {"wait deleted", on(rationale("wait: "), erase)},
      {"wait nudged down", on(rationale("wait: "),
                              [](Lines& l, std::size_t i, RandomJob&) {
                                l[i] = nudged(l[i], 'S', -5);
                                return true;
                              })},
      {"wait made a set", on(rationale("wait: "),
                             [](Lines& l, std::size_t i, RandomJob&) {
                               l[i].replace(0, 4, "M104");
                               return true;
                             })},
      {"wait after the first extrusion",
       on(rationale("wait: T"),
          [](Lines& l, std::size_t i, RandomJob&) {
            std::size_t k = i + 1;
            while (k < l.size() && !extrudes(l[k])) ++k;
            if (k >= l.size()) return false;
            const std::string moved = l[i];
            l.erase(l.begin() + long(i));
            l.insert(l.begin() + long(k), moved);
            return true;
          })},
      {"preheat deleted", on(free_preheat, erase)},
      {"preheat late", on(free_preheat,
                          [](Lines& l, std::size_t i, RandomJob& r) {
                            return shift(l, i, lead_of(l[i]) * r.between(0.3, 0.8) + 6, true);
                          })},
      {"preheat early", on(free_preheat,
                           [](Lines& l, std::size_t i, RandomJob& r) {
                             return shift(l, i, r.between(15, 60), false);
                           })},
      {"preheat too hot", on(free_preheat,
                             [](Lines& l, std::size_t i, RandomJob& r) {
                               l[i] = nudged(l[i], 'S', r.between(1, 30));
                               return true;
                             })},
      {"preheat too cool", on(free_preheat,
                              [](Lines& l, std::size_t i, RandomJob& r) {
                                l[i] = nudged(l[i], 'S', -r.between(1, 12));
                                return true;
                              })},
      {"preheat of another heater", on(free_preheat,
                                       [](Lines& l, std::size_t i, RandomJob&) {
                                         const int t = std::stoi(number_in(l[i], 'T'));
                                         l[i] = with_number(l[i], 'T', t == 0   ? "4"
                                                                      : t == 4 ? "0"
                                                                               : "4");
                                         return true;
                                       })},
      {"standby nudged", on(rationale("standby: "),
                            [](Lines& l, std::size_t i, RandomJob& r) {
                              l[i] = nudged(l[i], 'S', r.below(2) == 0 ? 3 : -3);
                              return true;
                            })},
      {"standby deleted", on(rationale("standby: "), erase)},
      {"standby late", on(rationale("standby: "),
                          [](Lines& l, std::size_t i, RandomJob&) {
                            // The select of its parking lies between.
                            const std::string moved = l[i];
                            double passed = 0;
                            std::size_t k = i;
                            while (++k < l.size() && passed < 20) {
                              if (k > i + 4 && (ours(l[k]) || selects(l[k]))) return false;
                              passed += seconds_of(l[k]);
                            }
                            if (k >= l.size()) return false;
                            l.erase(l.begin() + long(i));
                            l.insert(l.begin() + long(k - 1), moved);
                            return true;
                          })},
      {"shut-down deleted", on(rationale("off: no further use"), erase)},
      {"shut-down in a gap deleted", on(rationale("off: parked"), erase)},
      {"shut-down made standby", on(rationale("off: parked"),
                                    [](Lines& l, std::size_t i, RandomJob&) {
                                      l[i] = with_number(l[i], 'S', "165");
                                      return true;
                                    })},
      {"target above max_c", on(rationale("wait: "),
                                [](Lines& l, std::size_t i, RandomJob&) {
                                  l[i] = with_number(l[i], 'S', "310");
                                  return true;
                                })},
      {"heat after the last use",
       [](Lines& l, RandomJob& r) {
         l.insert(l.end() - 1, fmt::format("M104 T{} S200 ;fw+ preheat: none", r.below(5)));
         return true;
       }},
      {"disabled target in force again", on(is(disabled),
                                            [](Lines& l, std::size_t i, RandomJob&) {
                                              l[i] = l[i].substr(rewrite::kDisabled.size());
                                              return true;
                                            })},
      {"extruding move disabled", on(is(extrudes),
                                     [](Lines& l, std::size_t i, RandomJob&) {
                                       l[i] = std::string(rewrite::kDisabled) + l[i];
                                       return true;
                                     })},
      {"select disabled", on(is(selects),
                             [](Lines& l, std::size_t i, RandomJob&) {
                               l[i] = std::string(rewrite::kDisabled) + l[i];
                               return true;
                             })},
      {"a block that does not come back",
       on(is(extrudes),
          [](Lines& l, std::size_t i, RandomJob& r) {
            constexpr const char* kLines[] = {"G91", "G20", "G92 X0", "G0 Z5", "G18",
                                              "G1 F77", "M204 S200"};
            l.insert(l.begin() + long(i), std::string(kLines[r.below(7)]) + " ;fw+ a step");
            return true;
          })},
      {"a low move put in", on(is(extrudes),
                               [](Lines& l, std::size_t i, RandomJob&) {
                                 l.insert(l.begin() + long(i), "G0 X150.3 Y10.7 ;fw+ a step");
                                 return true;
                               })},
      {"down into what is printed, and back", on(is(extrudes),
                                                 [](Lines& l, std::size_t i, RandomJob& r) {
                                                   Lines block;
                                                   const double z = r.between(0.2, 3);
                                                   for (const std::string& line :
                                                        {std::string("G91"),
                                                         fmt::format("G1 Z-{:.2f}", z),
                                                         fmt::format("G1 Z{:.2f}", z),
                                                         std::string("G90"), std::string("M83")}) {
                                                     block.push_back(line + " ;fw+ a step");
                                                   }
                                                   l.insert(l.begin() + long(i), block.begin(),
                                                            block.end());
                                                   return true;
                                                 })},
      {"filament pulled back for good",
       on(is(extrudes),
          [](Lines& l, std::size_t i, RandomJob&) {
            Lines block{"M83 ;fw+ a step", "G1 E-4 F600 ;fw+ a step"};
            l.insert(l.begin() + long(i), block.begin(), block.end());
            return true;
          })},
      {"an unknown command put in", on(is(extrudes),
                                       [](Lines& l, std::size_t i, RandomJob&) {
                                         l.insert(l.begin() + long(i), "M140 S90 ;fw+ a step");
                                         return true;
                                       })},
      {"header deleted",
       [](Lines& l, RandomJob&) {
         l.erase(l.begin());
         return true;
       }},
      {"header's hash changed",
       [](Lines& l, RandomJob&) {
         char& c = l[0].back();
         c = c == '0' ? '1' : '0';
         return true;
       }},
      {"mark of a line put in damaged",
       on(rationale("wait: "),
          [](Lines& l, std::size_t i, RandomJob&) {
            l[i].replace(l[i].find(";fw+"), 4, ";fw ");
            return true;
          })},
      {"start code changed",
       [](Lines& l, RandomJob&) {
         l.insert(l.begin() + 3, "M104 T0 S100 ;fw+ preheat: too soon");
         return true;
       }},
  };
  return kinds;
}

const std::map<std::string, Mutate>& harmless() {
  static const std::map<std::string, Mutate> kinds{
      {"reason reworded", on(is(ours),
                             [](Lines& l, std::size_t i, RandomJob&) {
                               l[i] += " (seen)";
                               return true;
                             })},
      {"reason cut short", on(is(ours),
                              [](Lines& l, std::size_t i, RandomJob&) {
                                l[i].resize(l[i].find(";fw+ ") + 6);
                                return true;
                              })},
      {"set given twice", on(rationale("standby: "),
                             [](Lines& l, std::size_t i, RandomJob&) {
                               l.insert(l.begin() + long(i), l[i]);
                               return true;
                             })},
      {"wait given twice", on(rationale("wait: T"),
                              [](Lines& l, std::size_t i, RandomJob&) {
                                l.insert(l.begin() + long(i), l[i]);
                                return true;
                              })},
      {"temperature spelled otherwise", on(rationale("wait: "),
                                           [](Lines& l, std::size_t i, RandomJob&) {
                                             l[i] = with_number(l[i], 'S',
                                                                number_in(l[i], 'S') + ".00");
                                             return true;
                                           })},
      {"a comment of ours put in", on(is(extrudes),
                                      [](Lines& l, std::size_t i, RandomJob&) {
                                        l.insert(l.begin() + long(i), " ;fw+ a remark");
                                        return true;
                                      })},
  };
  return kinds;
}

// What a machine would be asked to do: every line that is more than a target, with all targets at
// that moment. Texts of which this is the same do the same.
std::string trace(const std::string& text) {
  std::string out;
  std::map<int, std::string> targets;
  std::string last_wait;
  int mounted = 0;
  for (const std::string& line : lines_of(text)) {
    std::string code = line.substr(0, line.find(';'));
    while (!code.empty() && code.back() == ' ') code.pop_back();
    if (code.empty()) continue;
    if (selects(code)) mounted = code[1] - '0';
    if (code.starts_with("M104") || code.starts_with("M109")) {
      const std::string t = number_in(code, 'T');
      const int tool = t.empty() ? mounted : std::stoi(t);
      // By heater: tools 1 to 3 share one.
      const int heater = tool == 0 ? 0 : tool < 4 ? 1 : 2;
      targets[heater] = fmt::format("{:g}", std::stod(number_in(code, 'S')));
      if (code.starts_with("M104")) {
        last_wait.clear();
        continue;
      }
      code = fmt::format("wait {} {}", heater, targets[heater]);
      if (code == last_wait) continue;
      last_wait = code;
    } else {
      last_wait.clear();
    }
    out += code;
    for (const auto& [heater, c] : targets) out += fmt::format(" {}={}", heater, c);
    out += "\n";
  }
  for (const auto& [heater, c] : targets) out += fmt::format("at the end {}={}\n", heater, c);
  return out;
}
std::string first_difference(const std::string& a, const std::string& b) {
  const Lines x = lines_of(a);
  const Lines y = lines_of(b);
  std::size_t i = 0;
  while (i < x.size() && i < y.size() && x[i] == y[i]) ++i;
  return fmt::format("line {}: {} became {}", i + 1, i < x.size() ? x[i] : "the end",
                     i < y.size() ? y[i] : "the end");
}
bool about_the_marks(const std::string& kind) {
  return kind.starts_with("header") || kind.starts_with("mark");
}

constexpr std::uint64_t kFresh = 400;
constexpr std::uint64_t kMutants = 40;  // of each kind

// Each kind of corruption starts from the same seeds: their rewrites are made once.
const Pair& pair_of(std::uint64_t seed) {
  static std::map<std::uint64_t, Pair> made;
  const auto [at, is_new] = made.try_emplace(seed);
  if (is_new) {
    Pair& p = at->second;
    p.original = RandomJob(seed).make();
    p.rewritten = rewrite_of(p.original, bench_machine());
    p.trace = trace(p.rewritten);
  }
  return at->second;
}

}  // namespace

TEST_CASE("fresh rewrites of random jobs have no findings") {
  for (std::uint64_t seed = 1; seed <= kFresh; ++seed) {
    const Pair& p = pair_of(seed);
    INFO("seed " << seed);
    const std::string found = print(report_of(&p.original, p.rewritten, bench_machine())) +
                              print(report_of(nullptr, p.rewritten, bench_machine()));
    CHECK(found == "");
  }
}

TEST_CASE("nor have they by rules of other kinds") {
  const auto with = [](const char* machine, const char* gap) {
    std::string toml = test::kThreeHeads;
    toml.insert(toml.find("ambient_c = 23"), machine);
    return test::rules_of(toml + gap);
  };
  const std::vector<std::pair<const char*, rules::Rules>> kinds = {
      {"one heater at a time", with("heating_limit_w = 60\n", "")},
      {"two heaters, and a bed", with("heating_limit_w = 130\nbed_w = 40\n", "")},
      {"costs decide", with("", "[gap]\noff_over_s = \"best\"\n")},
      {"costs decide, less sure",
       with("heating_limit_w = 90\n", "[gap]\noff_over_s = \"best\"\non_time = 0.9\n")},
      {"plain leads", with("", "[gap]\nlead_stretch = 0.2\nlead_extra_s = 2\n")},
  };
  for (const auto& [what, rules] : kinds) {
    for (std::uint64_t seed = 1; seed <= kFresh / 4; ++seed) {
      INFO(what << ", seed " << seed);
      const std::string original = RandomJob(seed).make();
      const std::string rewritten = rewrite_of(original, rules);
      CHECK(print(report_of(&original, rewritten, rules)) == "");
    }
  }
}

TEST_CASE("every kind of corruption is found") {
  std::string table;
  std::uint64_t all = 0;
  std::uint64_t killed = 0;
  for (const auto& [name, mutate] : harmful()) {
    std::uint64_t tried = 0;
    std::uint64_t found = 0;
    std::uint64_t same = 0;
    for (std::uint64_t seed = 1; seed <= 8 * kMutants && tried < kMutants; ++seed) {
      const Pair& p = pair_of(seed);
      RandomJob random(seed * 7919);
      Lines lines = lines_of(p.rewritten);
      if (!mutate(lines, random)) continue;
      const std::string mutant = joined(lines);
      if (!about_the_marks(name) && trace(mutant) == p.trace) {
        ++same;
        continue;
      }
      ++tried;
      const check::Report report = report_of(&p.original, mutant, bench_machine());
      if (!report.findings.list().empty()) {
        ++found;
      } else {
        WARN("survived: " << name << ", seed " << seed << ", "
                          << first_difference(p.rewritten, mutant));
      }
    }
    table += fmt::format("{:34} {:3} of {:3}   {:3} did the same\n", name, found, tried, same);
    CHECK(tried > 0);
    all += tried;
    killed += found;
  }
  WARN("corruptions found, by kind:\n"
       << table << fmt::format("{} kinds, {} of {} found", harmful().size(), killed, all));
  CHECK(harmful().size() >= 20);
  CHECK(killed == all);
}

TEST_CASE("what changes nothing is no finding") {
  std::string table;
  for (const auto& [name, mutate] : harmless()) {
    std::uint64_t tried = 0;
    for (std::uint64_t seed = 1; seed <= 4 * kMutants && tried < kMutants; ++seed) {
      const Pair& p = pair_of(seed);
      RandomJob random(seed * 104729);
      Lines lines = lines_of(p.rewritten);
      if (!mutate(lines, random)) continue;
      ++tried;
      INFO(name << ", seed " << seed);
      CHECK(print(report_of(&p.original, joined(lines), bench_machine())) == "");
    }
    table += fmt::format("{:34} {} tried\n", name, tried);
    CHECK(tried > 0);
  }
  WARN("harmless changes, none found:\n" << table);
}
