#include "description.h"

#include <algorithm>
#include <set>
#include <stdexcept>

namespace simulated {
namespace {

using nlohmann::json;

template <class K>
concept HasKeys = requires(K& k) {
  K::each(k, [](const char*, auto&) {});
};

[[noreturn]] void refuse(const std::string& path, const std::string& message) {
  throw std::runtime_error("machine: " + (path.empty() ? "" : path + ": ") + message);
}

template <class T>
void read(const json& from, T& value, const std::string& path) {
  if constexpr (HasKeys<T>) {
    if (!from.is_object()) refuse(path, "an object is needed here");
    std::set<std::string> known;
    T::each(value, [&](const char* name, auto& field) {
      known.insert(name);
      if (const auto it = from.find(name); it != from.end()) {
        read(*it, field, path.empty() ? name : path + "." + name);
      }
    });
    for (const auto& [name, ignored] : from.items()) {
      if (!known.contains(name)) refuse(path, "there is no key \"" + name + "\"");
    }
  } else if constexpr (std::is_same_v<T, std::vector<HeaterKind>> ||
                       std::is_same_v<T, std::vector<ToolheadKind>>) {
    if (!from.is_array()) refuse(path, "a list is needed here");
    value.clear();
    for (std::size_t i = 0; i < from.size(); ++i) {
      read(from[i], value.emplace_back(), path + "[" + std::to_string(i) + "]");
    }
  } else {
    try {
      from.get_to(value);
    } catch (const json::exception&) {
      refuse(path, "this is no value for it: " + from.dump());
    }
  }
}

template <class T>
nlohmann::ordered_json write(const T& value) {
  if constexpr (HasKeys<T>) {
    auto out = nlohmann::ordered_json::object();
    T::each(value, [&](const char* name, const auto& field) { out[name] = write(field); });
    return out;
  } else if constexpr (std::is_same_v<T, std::vector<HeaterKind>> ||
                       std::is_same_v<T, std::vector<ToolheadKind>>) {
    auto out = nlohmann::ordered_json::array();
    for (const auto& one : value) out.push_back(write(one));
    return out;
  } else {
    return value;
  }
}

void need(bool good, const std::string& path, const std::string& message) {
  if (!good) refuse(path, message);
}

void one_of(const std::string& word, std::vector<std::string> words, const std::string& path) {
  need(std::find(words.begin(), words.end(), word) != words.end(), path,
       "\"" + word + "\" is not known");
}

void check(const HeaterKind& heater, double ambient_c, const std::string& path) {
  need(heater.full_drive_c > ambient_c, path + ".full_drive_c", "it has to be more than ambient_c");
  need(heater.time_constant_s > 0, path + ".time_constant_s", "it has to be over 0");
  need(heater.sensor_lag_s >= 0 && heater.sensor_lag_s < heater.time_constant_s,
       path + ".sensor_lag_s", "it has to be less than time_constant_s");
  need(heater.dead_time_s >= 0 && heater.dead_time_s <= 3600, path + ".dead_time_s", "0 to 3600");
  need(heater.integral_s > 0, path + ".integral_s", "it has to be over 0");
}

}  // namespace

Description description_of(const json& from) {
  Description d;
  read(from, d, "");
  one_of(d.temperature_index, {"tool", "heater"}, "temperature_index");
  one_of(d.settings, {"read", "done"}, "settings");
  one_of(d.echoes, {"read", "done"}, "echoes");
  one_of(d.motion.corner, {"right_angle", "deviation", "jerk"}, "motion.corner");
  need(d.motion.look_ahead >= 1, "motion.look_ahead", "it has to be at least 1");
  need(d.control_s > 0.001 && d.control_s <= 1, "control_s", "0.001 to 1");
  need(d.report_s >= d.control_s, "report_s", "it has to be at least control_s");
  std::set<int> heaters, tools;
  for (std::size_t i = 0; i < d.heaters.size(); ++i) {
    const std::string path = "heaters[" + std::to_string(i) + "]";
    check(d.heaters[i], d.ambient_c, path);
    need(heaters.insert(d.heaters[i].index).second, path + ".index", "there is one already");
  }
  check(d.bed.heater, d.ambient_c, "bed.heater");
  for (std::size_t i = 0; i < d.toolheads.size(); ++i) {
    const std::string path = "toolheads[" + std::to_string(i) + "]";
    need(heaters.contains(d.toolheads[i].heater), path + ".heater", "there is no such heater");
    for (int tool : d.toolheads[i].tools) {
      need(tools.insert(tool).second, path + ".tools",
           "another toolhead serves T" + std::to_string(tool));
    }
  }
  need(!tools.empty(), "toolheads", "there is no tool");
  return d;
}

nlohmann::ordered_json json_of(const Description& description) { return write(description); }

}  // namespace simulated
