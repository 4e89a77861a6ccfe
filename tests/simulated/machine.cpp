#include "machine.h"

#include "player.h"

namespace simulated {
namespace {

using Json = nlohmann::ordered_json;

// Milliseconds and thousandths of a degree are as much as anybody reads.
double rounded(double value) { return std::round(value * 1000) / 1000; }

Json feeds_of(const Feeds& feeds) {
  const bool any = feeds.coldest_c < 1e8;
  return {{"coldest_c", any ? Json(rounded(feeds.coldest_c)) : Json(nullptr)},
          {"cold_by_c", rounded(feeds.cold_by_c)}};
}

Json seconds_of(const std::map<std::string, double>& seconds) {
  Json out = Json::object();
  for (const auto& [name, value] : seconds) out[name] = rounded(value);
  return out;
}

template <class List, class Make>
Json list_of(const List& list, Make make) {
  Json out = Json::array();
  for (const auto& one : list) out.push_back(make(one));
  return out;
}

}  // namespace

Truth play(const Description& description, std::uint64_t seed, std::istream& job, Record& record,
           const std::string& sent) {
  Player player(description, seed, record);
  std::string text;
  try {
    while (std::getline(job, text)) player.line(text, sent);
    return player.finish("");
  } catch (const GaveUp& gave_up) {
    return player.finish(gave_up.why);
  }
}

Json json_of(const Truth& t) {
  Json out = {{"seed", t.seed},
              {"lines", t.lines},
              {"gave_up", t.gave_up.empty() ? Json(nullptr) : Json(t.gave_up)},
              {"print_from_s", rounded(t.print_from_s)},
              {"end_s", rounded(t.end_s)},
              {"time_by_cause_s", seconds_of(t.time_by_cause)},
              {"wait_by_cause_s", seconds_of(t.wait_by_cause)},
              {"hot_idle_s", seconds_of(t.hot_idle_s)},
              {"full_drive_s", seconds_of(t.full_drive_s)}};
  out["uses"] = list_of(t.uses, [](const UseTruth& u) {
    Json one = {
        {"toolhead", u.toolhead},
        {"tool", u.tool},
        {"from_s", rounded(u.from_s)},
        {"first_feed_s", u.first_feed_s < 0 ? Json(nullptr) : Json(rounded(u.first_feed_s))},
        {"to_s", rounded(u.to_s)},
        {"wait_s", rounded(u.wait_s)},
        {"late_s", rounded(u.late_s)}};
    one.update(feeds_of(u.feeds));
    return one;
  });
  out["changes"] = list_of(t.changes, [](const ChangeTruth& c) {
    Json one = {{"line", c.line},
                {"from_tool", c.from_tool < 0 ? Json(nullptr) : Json(c.from_tool)},
                {"to_tool", c.to_tool},
                {"kind", c.kind},
                {"at_s", rounded(c.at_s)},
                {"park_s", rounded(c.park_s)},
                {"pick_s", rounded(c.pick_s)},
                {"exchange_s", rounded(c.exchange_s)},
                {"stop_s", rounded(c.stop_s)}};
    one.update(feeds_of(c.exchange));
    return one;
  });
  out["waits"] = list_of(t.waits, [](const WaitTruth& w) {
    return Json{{"line", w.line},
                {"cause", w.cause},
                {"heater", w.heater},
                {"target_c", w.target_c},
                {"from_c", rounded(w.from_c)},
                {"at_s", rounded(w.at_s)},
                {"took_s", rounded(w.took_s)},
                {"late_s", rounded(w.late_s)}};
  });
  out["stops"] = list_of(t.stops, [](const StopTruth& s) {
    return Json{{"line", s.line},
                {"at_s", rounded(s.at_s)},
                {"took_s", rounded(s.took_s)},
                {"after", s.after}};
  });
  out["left_aside"] = t.left_aside;
  return out;
}

}  // namespace simulated
