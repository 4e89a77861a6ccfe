#include "base/spliced.h"

#include <catch2/catch.hpp>
#include <random>

using namespace forewarm;

TEST_CASE("random splices read as the text that they make") {
  std::mt19937 random(3);
  for (int round = 0; round < 400; ++round) {
    CAPTURE(round);
    std::string base;
    for (std::size_t i = random() % 40; i > 0; --i) base += char('a' + random() % 26);
    std::string wanted;
    std::vector<Splice> splices;
    std::size_t at = 0;
    while (at < base.size() && random() % 4 != 0) {
      const std::size_t from = at + random() % (base.size() - at);
      const std::size_t to = from + 1 + random() % std::min<std::size_t>(5, base.size() - from);
      const std::string text(1 + random() % 7, char('A' + random() % 26));
      wanted += base.substr(at, from - at) + text;
      splices.push_back({from, to, text});
      at = to;
    }
    wanted += base.substr(at);
    TextSource source(base, 1 + random() % 9);
    SplicedSource spliced(source, splices);
    REQUIRE(spliced.size() == wanted.size());
    TextSink sink;
    REQUIRE(sink.copy(spliced, 0, spliced.size()));
    CHECK(sink.text() == wanted);
    for (std::size_t from = 0; from <= wanted.size(); ++from) {
      char one = 0;
      const auto got = spliced.read_at(from, std::span(&one, 1));
      REQUIRE(got);
      CHECK(*got == (from < wanted.size() ? 1 : 0));
      if (*got == 1) CHECK(one == wanted[from]);
    }
    for (std::size_t i = 0; i < splices.size(); ++i) {
      CHECK(spliced.base_of(spliced.begins(i)) == splices[i].from);
      CHECK(spliced.base_of(spliced.begins(i) + splices[i].text.size()) >= splices[i].to);
    }
  }
}
