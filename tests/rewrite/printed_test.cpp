// A rewritten job as the machine printed it.
#include "rewrite/printed.h"

#include <catch2/catch.hpp>

using namespace forewarm;

namespace {

struct Printed {
  std::string text, inserted;
};

Printed printed(const std::string& rewritten) {
  Printed out;
  TextSource source(rewritten);
  TextSink sink;
  CHECK(rewrite::as_printed(source, sink, [&](auto bytes, auto offset, bool inserted) {
          if (inserted) out.inserted += std::to_string(offset) + ' ' + std::string(bytes);
        }).ok());
  out.text = sink.text();
  return out;
}

const std::string kHeader = ";forewarm 1 rules=0123456789abcdef original=12:0123456789abcdef";

}  // namespace

TEST_CASE("printed: lines keep their places, and marks say nothing any more") {
  const Printed p =
      printed(kHeader + "\nG28\n;fw- M104 T1 S0\nM104 T1 S200 ;fw+ preheat: soon\r\nG1 X3 ; fw\n");
  const std::string blanks(kHeader.find(" "), ' ');
  CHECK(p.text == ";" + blanks.substr(1) + kHeader.substr(blanks.size()) +
                      "\nG28\n;    M104 T1 S0\nM104 T1 S200 ;    preheat: soon\r\nG1 X3 ; fw\n");
  CHECK(p.inserted == "84 M104 T1 S200 ;fw+ preheat: soon\r\n");
}

TEST_CASE("printed: a line that was inserted for another, and a last one without an end") {
  const Printed p = printed(kHeader + "\n;fw- T0\nT3 ;fw+ mapped T0 to T3\n; ;fw+ mapped T0 to T1");
  CHECK(p.text.substr(kHeader.size()) ==
        "\n;    T0\nT3 ;    mapped T0 to T3\n; ;    mapped T0 to T1");
}
