// Which toolhead and heater a number means, and which toolhead is mounted with which filament.
//
// Heads: the rule file's toolheads, or with tools = "seen" one more for each number met.
// ToolChanger: one machine's way through the selects of a job. Whoever follows a job by its text
// asks here.
#pragma once

#include <cstddef>
#include <cstdint>
#include <unordered_map>
#include <vector>

#include "rules/rules.h"

namespace forewarm::machine {

constexpr std::size_t kNone = SIZE_MAX;

// How a line names a heater.
struct HeaterAddress {
  enum class By : std::uint8_t { tool, heater, mounted };  // mounted: no number
  By by = By::mounted;
  int number = -1;
};

class Heads {
 public:
  explicit Heads(const rules::Rules& rules);
  [[nodiscard]] std::size_t of_tool(int tool);      // kNone: no toolhead serves it
  [[nodiscard]] std::size_t of_heater(int heater);  // kNone: no toolhead has it
  // By number, kNone: it has none.
  [[nodiscard]] std::size_t of(const HeaterAddress& address);
  // How long an exchange takes there that brings the filament of `tool` in.
  [[nodiscard]] double exchange_s(std::size_t head, int tool) const;
  [[nodiscard]] std::size_t size() const { return list_.size(); }
  [[nodiscard]] const rules::Toolhead& operator[](std::size_t head) const { return list_[head]; }
  [[nodiscard]] const std::vector<rules::Toolhead>& list() const { return list_; }

 private:
  const rules::Rules& rules_;
  std::vector<rules::Toolhead> list_;
  std::unordered_map<int, std::size_t> tools_, heaters_;
};

struct Selected {
  bool served = true;  // else nothing happens
  bool redundant = false;
  bool first = false;  // no tool was selected or used before
  std::size_t from = kNone, to = kNone;
  bool exchange = false;
  int out_tool = -1;  // exchange: whose filament goes out
  double park_s = 0, pick_s = 0, exchange_s = 0;
  [[nodiscard]] double seconds() const { return park_s + pick_s + exchange_s; }
};

class ToolChanger {
 public:
  explicit ToolChanger(Heads& heads) : heads_(heads) {}
  [[nodiscard]] Selected select(int tool);  // -1 parks
  // Filament is fed: before any select that is T0's. kNone: no toolhead serves it.
  [[nodiscard]] std::size_t feeding();
  // The toolhead whose heater is meant; kNone: no toolhead has it.
  [[nodiscard]] std::size_t head_of(const HeaterAddress& address);
  [[nodiscard]] int tool() const { return tool_; }
  [[nodiscard]] std::size_t mounted() const { return mounted_; }

 private:
  [[nodiscard]] std::size_t last_mounted();

  Heads& heads_;
  int tool_ = -1;
  bool used_ = false;  // some tool, ever
  std::size_t mounted_ = kNone, last_mounted_ = kNone;
  std::unordered_map<std::size_t, int> loaded_;
};

}  // namespace forewarm::machine
