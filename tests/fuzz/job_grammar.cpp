#include "job_grammar.h"

#include <algorithm>
#include <array>
#include <vector>

#include "fuzz_help.h"
#include "gcode/words.h"

namespace forewarm::fuzz {

namespace {

// Hundredths as text, without what need not be there.
std::string hundredths(long value) {
  std::string out = value < 0 ? "-" : "";
  const unsigned long size = value < 0 ? -static_cast<unsigned long>(value) : value;
  out += std::to_string(size / 100);
  if (size % 100 != 0) {
    out += '.';
    out += char('0' + size % 100 / 10);
    if (size % 10 != 0) out += char('0' + size % 10);
  }
  return out;
}

class Writer {
 public:
  Writer(std::string_view program, const JobGrammar& grammar) : in_(program), grammar_(grammar) {}

  std::string run() {
    style_ = in_.byte();
    const unsigned start = in_.byte();
    if (in_.byte() % 8 == 7) line("G20");
    line(is(kAbsoluteE) ? "M82" : "M83");
    if (is(kStartCode)) start_code(start);
    while (!in_.empty() && out_.size() < grammar_.most) operation();
    if (is(kEndCode)) end_code();
    if (is(kOpenEnd)) {
      while (!out_.empty() && (out_.back() == '\n' || out_.back() == '\r')) out_.pop_back();
    }
    return std::move(out_);
  }

 private:
  enum Style : unsigned {
    kNumbered = 1,
    kCrlf = 2,
    kMixed = 4,
    kCompact = 8,
    kStartCode = 16,
    kEndCode = 32,
    kAbsoluteE = 64,
    kOpenEnd = 128,
  };
  [[nodiscard]] bool is(Style s) const { return (style_ & s) != 0; }

  void start_code(unsigned pick) {
    line("M201 X6000 Y6000 Z250 E5000");
    line("G28");
    for (unsigned t = 0; t < grammar_.tools; ++t) {
      if ((pick >> (t % 4) & 1U) == 0)
        line("M104 T" + std::to_string(t) + " S" + temperature(t + 4));
    }
    line("M109 T0 S" + temperature(pick >> 4U));
    line("T0");
    move(true, 1);
  }
  void end_code() {
    line("M104 T0 S0");
    line("G0 X10 Y290 F12000");
    line("M84");
  }

  std::string temperature(unsigned pick) {
    static constexpr std::array<const char*, 16> all{"210", "215", "0",   "200",   "220", "175",
                                                     "230", "205", "180", "212.5", "190", "240",
                                                     "225", "150", "20",  "301"};
    return all[pick % all.size()];
  }
  std::string tool() {
    const unsigned pick = in_.byte();
    if (pick >= 252) return std::to_string(grammar_.tools + pick - 252);
    return std::to_string(pick % grammar_.tools);
  }
  std::string feed(unsigned pick) {
    static constexpr std::array<const char*, 8> all{"1800", "12000", "300", "60",
                                                    "4200", "1",     "600", "36000"};
    return all[pick % all.size()];
  }

  // One line in the job's manner.
  void line(std::string body) {
    lines_.push_back(body);
    if (is(kCompact)) {
      std::string small;
      const std::size_t comment = body.find(';');
      for (std::size_t i = 0; i < body.size(); ++i) {
        if (i >= comment) {
          small += body[i];
        } else if (body[i] != ' ' || named(body)) {
          small += body[i] >= 'A' && body[i] <= 'Z' ? char(body[i] | 0x20) : body[i];
        }
      }
      body = named(body) ? body : small;
    }
    const bool command = !body.empty() && body[0] != ';' && !named(body);
    if (is(kNumbered) && command) {
      const std::size_t comment = std::min(body.find(';'), body.size());
      const std::string counted = "N" + std::to_string(++count_) + " " + body.substr(0, comment);
      body = counted + "*" + std::to_string(gcode::checksum(counted)) + body.substr(comment);
    }
    out_ += body;
    ending();
  }
  static bool named(std::string_view body) {
    return body.size() > 1 && body[0] >= 'A' && body[1] >= 'A' && body[1] <= 'Z';
  }
  void ending() {
    const bool crlf = is(kMixed) ? lines_.size() % 3 == 1 : is(kCrlf);
    out_ += crlf ? "\r\n" : "\n";
  }

  void move(bool extrudes, unsigned pick) {
    std::string body = extrudes ? "G1" : "G0";
    x_ = (x_ + 1 + long(pick) * 37) % 20000;
    y_ = (y_ + 7 + long(pick) * 61) % 20000;
    if (pick % 5 != 4) body += " X" + hundredths(x_);
    if (pick % 7 != 6) body += " Y" + hundredths(y_);
    if (extrudes) {
      const long e = 3 + long(pick % 16) * 5;
      e_ += e;
      body += " E" + hundredths(is(kAbsoluteE) ? e_ : e);
    }
    if (pick % 4 == 1) body += " F" + feed(pick / 8);
    line(body);
  }

  void operation() {
    const unsigned op = in_.byte();
    switch (op % 32) {
      case 0:
      case 1:
      case 2:
      case 3:
      case 4:
        for (unsigned n = 0; n <= op / 32 * 3; ++n) move(true, op + n);
        return;
      case 5:
      case 6:
        return move(false, in_.byte());
      case 7:
      case 8:
      case 9:
      case 10:
        return line("T" + tool());
      case 11:
      case 12:
        return line("M104 T" + tool() + " S" + temperature(op / 32 + 8 * (op % 2)));
      case 13:
      case 14:
        return line("M109 T" + tool() + " S" + temperature(op / 32));
      case 15: {
        static constexpr std::array<const char*, 8> all{"M104 S210", "M109 S215", "M109 R175",
                                                        "M104 S0",   "M109",      "M104",
                                                        "M104 R200", "M109 S0"};
        return line(all[op / 32]);
      }
      case 16:
      case 17: {
        static constexpr std::array<const char*, 8> all{"5",   "30",  "60",   "120",
                                                        "300", "900", "1600", "4000"};
        return line("G4 S" + std::string(all[op / 32]));
      }
      case 18: {
        static constexpr std::array<const char*, 8> all{
            "G10",         "G11",    "G1 E-.8 F2100", "G1 E0.8", "M207 S0.8 F2100",
            "G10 P1 R170", "G92 E0", "G1 E5 F60"};
        if (op / 32 == 6) e_ = 0;
        return line(all[op / 32]);
      }
      case 19: {
        static constexpr std::array<const char*, 8> all{
            "G2 X10 Y10 I5 J5 E1", "G3 I10 E2", "G2 X20 R15", "G3 X5 Y5 R-9 E.5", "G18", "G17",
            "G2 X1 I90 E1",        "G2 X10 Y10"};
        return line(all[op / 32]);
      }
      case 20: {
        static constexpr std::array<const char*, 8> all{"; rinse begins",
                                                        "; rinse ends",
                                                        "; == level 3",
                                                        "; fw+ is no mark, ;fw is neither",
                                                        "; gr\xc3\xbc\xc3\x9f\x65 \xe9",
                                                        ";",
                                                        "",
                                                        "(in brackets) ; and behind"};
        return line(all[op / 32]);
      }
      case 21: {
        static constexpr std::array<const char*, 8> all{"G90", "G91", "M82", "M83",
                                                        "G20", "G21", "G93", "G94"};
        return line(all[op / 32]);
      }
      case 22: {
        static constexpr std::array<const char*, 8> all{
            "G92 X0 Y0 Z0 E0", "G92", "G92.1", "G28 X", "G28", "G1 Z.4", "G1 Z5 F600", "G53 G0 X1"};
        return line(all[op / 32]);
      }
      case 23: {
        static constexpr std::array<const char*, 8> all{
            "M204 S800", "M205 X8 Y8 Z.4 E5", "M205 J.02", "M203 X200 Y200 Z10 E60",
            "M220 S50",  "M221 S95",          "M566 X480", "M201 X1 Y1 Z1 E1"};
        return line(all[op / 32]);
      }
      case 24: {
        const std::string t = tool();
        switch (op / 32) {
          case 0:
            return line("CHANGE_TO " + t);
          case 1:
            return line("WARM_HEAD " + t + " 215");
          case 2:
            return line("AWAIT_HEAD " + t + " 205");
          case 3:
            return line("CHANGE_TO");
          case 4:
            return line("WARM_HEAD 1 9999");
          case 5:
            return line("M6 T" + t);
          case 6:
            return line("T-1");
          default:
            return line("t " + t);
        }
      }
      case 25: {  // more than one thing on a line
        const std::string t = tool();
        static constexpr std::array<const char*, 8> after{" M104 S200", " G4 S9",      " M109 S210",
                                                          " M104 S0",   " G1 X5 E1",   " F900",
                                                          " ; away",    " M117 5 left"};
        return line((op % 64 < 32 ? "T" + t : "M104 T" + t + " S0") + after[op / 32]);
      }
      case 26:
      case 27:
        return repeat(1 + op / 32, 1 + in_.byte());
      case 28:  // a long way off
        return line("G1 X" + hundredths(long(in_.byte()) * 100) + " E" +
                    hundredths(is(kAbsoluteE) ? e_ += 90 : 90) + " F" + feed(op / 32));
      case 29: {
        static constexpr std::array<const char*, 8> all{"M400",    "M0",  "M190 S60", "M106 S255",
                                                        "M117 T1", "/T1", "X5 E1",    "%"};
        return line(all[op / 32]);
      }
      case 30:  // numbers gone wrong, or set anew
        if (op / 32 == 0) count_ += 2;
        if (op / 32 == 1) out_ += "N3 G1 X1*7\n";
        if (op / 32 == 2) line("M110 N" + std::to_string(count_ = in_.byte()));
        if (op / 32 == 3) out_ += "M110 N-1\n";
        if (op / 32 > 3) ending();
        return;
      default:
        out_ += in_.take(op / 32 + 1);
        if (op % 64 < 32) ending();
        return;
    }
  }

  // The last few lines again, so that short programs make long jobs.
  void repeat(std::size_t last, unsigned times) {
    const std::size_t from = lines_.size() - std::min(last, lines_.size());
    const std::vector<std::string> again(lines_.begin() + std::ptrdiff_t(from), lines_.end());
    for (unsigned i = 0; i < times; ++i) {
      for (const std::string& body : again) {
        if (out_.size() >= grammar_.most) return;
        line(body);
      }
    }
  }

  Cursor in_;
  const JobGrammar& grammar_;
  unsigned style_ = 0;
  std::string out_;
  std::vector<std::string> lines_;  // as given, before they got the job's manner
  long x_ = 0, y_ = 0, e_ = 0;      // hundredths
  unsigned count_ = 0;
};

}  // namespace

std::string job_text(std::string_view program, const JobGrammar& grammar) {
  return Writer(program, grammar).run();
}

}  // namespace forewarm::fuzz
