#include <catch2/catch.hpp>
#include <string>
#include <vector>

#include "base/bytes.h"
#include "base/error.h"

using namespace forewarm;

TEST_CASE("an error shows its place, its line, a caret and a hint") {
  Error e{Error::Kind::refused, "no such tool", "job.gcode", 3, 5, "G1  T9 ; x", "add it"};
  CHECK(render(e) == "job.gcode:3:5: no such tool\n  G1  T9 ; x\n      ^\n  hint: add it");
  e.excerpt = "\tG1\tT9";
  e.column = 5;
  CHECK(render(e) == "job.gcode:3:5: no such tool\n  \tG1\tT9\n  \t  \t^\n  hint: add it");
  e = {Error::Kind::io, "cannot open", "a.gcode"};
  CHECK(render(e) == "a.gcode: cannot open");
}

TEST_CASE("a long line is cut around the caret") {
  const Error e{Error::Kind::refused,
                "here",
                "j",
                1,
                5001,
                std::string(5000, 'a') + "T9" + std::string(5000, 'b')};
  const std::string text = render(e);
  CHECK(text.size() < 400);
  CHECK(text.find("aT9b") != std::string::npos);
  const auto caret = text.find('^') - text.rfind('\n', text.find('^'));
  const auto tool = text.find("T9") - text.rfind('\n', text.find("T9"));
  CHECK(caret == tool);
}

TEST_CASE("control characters never reach a terminal") {
  CHECK(printable("a\x1b[31mb\x7f\rc\td") == "a?[31mb??c\td");
  CHECK(printable("\xc2\x9b"
                  "31m") == "??31m");
  CHECK(printable(std::string(200, 'x'), 10) == "xxxxxxxxxx...");
}

TEST_CASE("the nearest word") {
  const std::vector<std::string> known{"standby_c", "density_g_cm3", "diameter_mm"};
  CHECK(nearest("standbyc", known) == "standby_c");
  CHECK(nearest("standby_C", known) == "standby_c");
  CHECK(nearest("colour", known) == std::nullopt);
  CHECK(edit_distance("kitten", "sitting") == 3);
}

TEST_CASE("a copy stops at the byte where the sink fails") {
  struct FailingAt final : ByteSink {
    explicit FailingAt(std::size_t n) : left(n) {}
    Status write(std::string_view bytes) override {
      if (bytes.size() > left) return Error{Error::Kind::io, "full"};
      left -= bytes.size();
      return success();
    }
    std::size_t left;
  };
  const std::string text(1000, 'x');
  for (std::size_t n = 0; n <= text.size(); n += 50) {
    TextSource source(text, 50);
    FailingAt sink(n);
    CHECK(sink.copy(source, 0, text.size()).ok() == (n == text.size()));
  }
  TextSource source(text);
  TextSink sink;
  CHECK_FALSE(sink.copy(source, 990, 20).ok());  // beyond the end
}
