#include "job/survey.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <set>
#include <string_view>
#include <unordered_map>
#include <utility>

#include "gcode/lines.h"
#include "job/byte_watch.h"
#include "job/unknown_commands.h"
#include "machine/interpreter.h"
#include "machine/limits.h"

namespace forewarm::job {

namespace {

using machine::Operation;

constexpr std::size_t kMostShapes = 512, kMostNumbers = 4, kMostText = 200;
constexpr std::size_t kMostTools = 256;

bool digit(char c) { return c >= '0' && c <= '9'; }
bool letter(char c) { return std::isalpha(static_cast<unsigned char>(c)) != 0; }

double number_at(std::string_view text) {
  double value = 0;
  std::from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

// Calls take(text) for each number that stands in `text`.
template <class Take>
void each_number(std::string_view text, Take take) {
  for (std::size_t i = 0; i < text.size();) {
    if (!digit(text[i])) {
      ++i;
      continue;
    }
    const std::size_t begin = i;
    i = past_number(text, i);
    take(text.substr(begin, i - begin));
  }
}

class Shapes {
 public:
  void take(std::string shape, std::string_view text, std::uint64_t line) {
    auto found = by_shape_.find(shape);
    const bool fresh = found == by_shape_.end();
    if (fresh) {
      if (by_shape_.size() == kMostShapes) return;
      LineShape one{shape, std::string(text.substr(0, kMostText)), line, 0, {}};
      found = by_shape_.emplace(std::move(shape), std::move(one)).first;
    }
    LineShape& s = found->second;
    ++s.count;
    std::size_t i = 0;
    each_number(text, [&](std::string_view number) {
      if (i == kMostNumbers) return;
      const double value = number_at(number);
      if (fresh) s.numbers.push_back({value, value, value});
      if (i >= s.numbers.size()) return;
      LineShape::Number& n = s.numbers[i++];
      n.low = std::min(n.low, value);
      n.high = std::max(n.high, value);
      n.whole = n.whole && number.find('.') == std::string_view::npos;
      n.counts = n.counts && (fresh || value == n.last + 1);
      n.last = value;
    });
  }

  [[nodiscard]] std::vector<LineShape> list() const {
    std::vector<LineShape> out;
    for (const auto& [shape, one] : by_shape_) out.push_back(one);
    std::sort(out.begin(), out.end(), [](const LineShape& a, const LineShape& b) {
      return std::pair(b.count, a.line) < std::pair(a.count, b.line);
    });
    return out;
  }

 private:
  std::unordered_map<std::string, LineShape> by_shape_;
};

// The shapes that end what a shape begins: with another word for "begin" or "start", in its case.
std::vector<std::string> counterparts(const std::string& shape) {
  struct Pair {
    std::string_view begins, ends;
  };
  static constexpr std::array kPairs{Pair{"begins", "ends"}, Pair{"begin", "end"},
                                     Pair{"starts", "ends"}, Pair{"starts", "stops"},
                                     Pair{"start", "end"},   Pair{"start", "stop"}};
  const auto upper = [](char c) { return std::isupper(static_cast<unsigned char>(c)) != 0; };
  std::string all = shape;
  for (char& c : all) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  std::vector<std::string> out;
  for (const Pair& p : kPairs) {
    const std::size_t at = all.find(p.begins);
    if (at == std::string::npos) continue;
    std::string word(p.ends);
    const std::size_t capitals = upper(shape[at + 1]) ? word.size() : upper(shape[at]) ? 1 : 0;
    for (std::size_t i = 0; i < capitals; ++i) {
      word[i] = static_cast<char>(std::toupper(static_cast<unsigned char>(word[i])));
    }
    out.push_back(shape);
    out.back().replace(at, p.begins.size(), word);
  }
  return out;
}

struct Box {
  double x_low = 1e9, x_high = -1e9, y_low = 1e9, y_high = -1e9;
  void add(double x, double y) {
    x_low = std::min(x_low, x);
    x_high = std::max(x_high, x);
    y_low = std::min(y_low, y);
    y_high = std::max(y_high, y);
  }
  void add(const Box& b) {
    add(b.x_low, b.y_low);
    add(b.x_high, b.y_high);
  }
  [[nodiscard]] bool empty() const { return x_low > x_high; }
  [[nodiscard]] double area() const {
    return empty() ? 0 : std::max(1.0, x_high - x_low) * std::max(1.0, y_high - y_low);
  }
};

// "<word> 3 is granite, ..., toolhead ash": what a comment may call a tool.
struct Named {
  std::string kind;  // what stands before the number
  int tool = 0;
  std::string name, toolhead;
  std::uint64_t line = 0;
};

std::string_view trimmed(std::string_view text) {
  const auto blank = [](char c) { return c == ' ' || c == '\t'; };
  while (!text.empty() && blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && blank(text.back())) text.remove_suffix(1);
  return text;
}

std::optional<Named> named_in(std::string_view comment) {
  constexpr std::size_t kMostName = 60;
  Named out;
  std::size_t i = comment.find_first_not_of(";( \t");
  if (i == std::string_view::npos) return std::nullopt;
  const std::size_t begin = i;
  while (i < comment.size() && (letter(comment[i]) || comment[i] == '_' || comment[i] == ' ')) ++i;
  out.kind = trimmed(comment.substr(begin, i - begin));
  const std::size_t digits = i;
  while (i < comment.size() && digit(comment[i])) ++i;
  if (i == digits || i - digits > 3) return std::nullopt;
  std::from_chars(comment.data() + digits, comment.data() + i, out.tool);
  std::string_view rest = trimmed(comment.substr(i));
  if (rest.starts_with("is ")) {
    rest.remove_prefix(3);
  } else if (rest.starts_with('=') || rest.starts_with(':')) {
    rest.remove_prefix(1);
  } else {
    return std::nullopt;
  }
  constexpr std::string_view kToolhead = "toolhead ";
  if (const std::size_t at = rest.find(kToolhead); at != std::string_view::npos) {
    std::string_view head = rest.substr(at + kToolhead.size());
    out.toolhead = std::string(head.substr(0, head.find_first_of(" ,;)")));
  }
  out.name = std::string(trimmed(rest.substr(0, rest.find_first_of(",;)"))));
  if (out.name.empty() || out.name.size() > kMostName) return std::nullopt;
  return out;
}

class Surveyor {
 public:
  explicit Surveyor(const rules::Rules& rules, const rules::Recogniser& recogniser)
      : interpreter_(rules, recogniser, &out_.pattern_hits),
        limits_(machine::initial_limits(rules.motion)) {}

  Result<Survey> run(ByteSource& source, const std::string& name) {
    gcode::LineReader reader(source);
    gcode::RawLine raw;
    for (;;) {
      const auto more = reader.next(raw);
      if (!more) return more.error();
      if (!*more) break;
      if (raw.text.find('\0') != std::string_view::npos) return not_text(source, name);
      out_.lines = raw.number;
      line(raw.number == 1 ? machine::without_byte_order_mark(raw.text) : raw.text, raw.number);
    }
    finish();
    return std::move(out_);
  }

 private:
  void line(std::string_view text, std::uint64_t number) {
    interpreter_.read(text, state_, read_);
    const gcode::Words& words = read_.words;
    if (words.numbered && words.has_checksum) out_.numbered = true;
    if (!read_.effect.moves) {
      unknown_.take(number, read_);
      if (read_.recognised.empty()) unrecognised(text, number);
    }
    for (const Operation& operation : read_.operations) perform(operation, number);
  }

  void unrecognised(std::string_view text, std::uint64_t number) {
    const gcode::Words& words = read_.words;
    if (words.kind == gcode::LineKind::blank) {
      comment(text, number);
    } else if (words.kind != gcode::LineKind::words && may_take_time(words) && !read_.seconds) {
      commands_.take(shape_of(words), command_of(words), number);
    }
  }

  void comment(std::string_view text, std::uint64_t number) {
    text = trimmed(text);
    if (text.empty() || (text[0] != ';' && text[0] != '(')) return;
    std::string shape;
    std::size_t at = 0;
    each_number(text, [&](std::string_view n) {
      const auto begin = static_cast<std::size_t>(n.data() - text.data());
      shape += std::string(text.substr(at, begin - at)) + '#';
      at = begin + n.size();
    });
    shape += text.substr(at);
    if (shape.size() <= kMostText) comments_.take(std::move(shape), text, number);
    if (named_.size() >= kMostTools) return;
    if (auto named = named_in(text)) {
      named->line = number;
      named_.push_back(std::move(*named));
    }
  }

  SurveyedTool* tool(int number, std::uint64_t line) {
    if (number < 0 || (out_.tools.size() >= kMostTools && !out_.tools.contains(number))) {
      return nullptr;
    }
    SurveyedTool& t = out_.tools[number];
    if (t.line == 0) t.line = line;
    return &t;
  }

  void perform(const Operation& operation, std::uint64_t line) {
    switch (operation.kind) {
      case Operation::Kind::select:
        if (operation.tool != selected_) {
          finish_box();
          purging_ = operation.tool >= 0 && printed_;
        }
        selected_ = operation.tool;
        just_selected_ = selected_ >= 0;
        if (SurveyedTool* t = tool(selected_, line)) ++t->selects;
        return;
      case Operation::Kind::set_target:
        target(operation, line);
        return;
      case Operation::Kind::set_limits:
        if (printed_) return;
        limits_.take(read_.words);
        for (const int code : {201, 203, 204, 205, 566}) {
          if (read_.words.is('M', code)) out_.limit_lines.try_emplace(code, line);
        }
        return;
      case Operation::Kind::move:
        move(line);
        return;
      default:
        return;
    }
  }

  void target(const Operation& operation, std::uint64_t line) {
    using By = machine::HeaterAddress::By;
    const int number =
        operation.heater.by == By::mounted ? std::max(selected_, 0) : operation.heater.number;
    const double temp_c = operation.temp_c.value_or(targets_[number]);
    if (operation.temp_c) targets_[number] = temp_c;
    if (SurveyedTool* t = temp_c > 0 ? tool(number, line) : nullptr) {
      t->highest_c = std::max(t->highest_c, temp_c);
    }
    if (!operation.waits || temp_c <= 0) return;
    waited_.insert(number);
    if (!std::exchange(just_selected_, false) || operation.heater.by == By::mounted) return;
    SurveyedTool* t = tool(selected_, line);
    if (t == nullptr) return;
    if (t->heater_line == 0) {
      t->heater = number;
      t->heater_line = line;
    } else if (t->heater != number) {
      t->heater.reset();
    }
  }

  void move(std::uint64_t line) {
    const gcode::Effect& e = read_.effect;
    const double fed = e.delta[gcode::kE];
    const double x = state_.position[gcode::kX] + state_.offset[gcode::kX];
    const double y = state_.position[gcode::kY] + state_.offset[gcode::kY];
    if (fed > 0) {
      const int number = std::max(selected_, 0);
      fed_.insert(number);
      const double temp_c = targets_[number];
      SurveyedTool* t = tool(number, line);
      if (t != nullptr && temp_c > 0 && read_.prints()) {
        t->low_c = std::min(t->low_c.value_or(temp_c), temp_c);
        t->high_c = std::max(t->high_c.value_or(temp_c), temp_c);
      }
    }
    if (read_.prints()) {
      if (!printed_) out_.limits = limits_;
      printed_ = true;
      all_.add(x, y);
      if (state_.position[gcode::kZ] > top_z_mm_ + 1e-6) {
        top_z_mm_ = state_.position[gcode::kZ];
        ++out_.layers;
      }
    }
    if (!purging_) return;
    if (fed > 0) {
      box_.add(x, y);
      fed_mm_ += fed;
      return;
    }
    const double far = std::hypot(e.delta[gcode::kX], e.delta[gcode::kY]);
    if (far > 2 && fed_mm_ > 1) finish_box();  // a travel away
  }

  // What was extruded from a select to the first travel.
  void finish_box() {
    if (purging_ && printed_ && !box_.empty() && fed_mm_ > 1) {
      purges_.add(box_);
      ++purge_count_;
    }
    box_ = {};
    fed_mm_ = 0;
    purging_ = false;
  }

  void finish() {
    finish_box();
    if (!printed_) out_.limits = limits_;
    out_.waited = waited_.size();
    out_.unknown = unknown_.list();
    out_.commands = commands_.list();
    out_.comments = comments_.list();
    constexpr std::size_t kSome = 4;
    if (purge_count_ >= kSome && purges_.area() < all_.area() / 10) {
      out_.purge_area_mm = {std::floor(purges_.x_low - 1), std::ceil(purges_.x_high + 1),
                            std::floor(purges_.y_low - 1), std::ceil(purges_.y_high + 1)};
    }
    find_heaters();
    find_layer();
    find_purge();
    name_tools();
  }

  // Where a tool always waits for another number, and none is at odds with itself.
  void find_heaters() {
    bool other = false;
    for (const auto& [number, t] : out_.tools) {
      if (t.heater_line > 0 && !t.heater) return;
      other = other || (t.heater && *t.heater != number);
    }
    if (!other) return;
    out_.by_heater = true;
    double highest_c = 0;
    for (const auto& [number, t] : out_.tools) highest_c = std::max(highest_c, t.highest_c);
    std::erase_if(out_.tools,
                  [&](const auto& t) { return t.second.selects == 0 && !fed_.contains(t.first); });
    for (auto& [number, t] : out_.tools) {
      t.low_c.reset();
      t.high_c.reset();
      t.highest_c = highest_c;
    }
  }

  void find_layer() {
    const double layers = static_cast<double>(out_.layers);
    for (const LineShape& s : out_.comments) {
      const double count = static_cast<double>(s.count);
      if (s.count < 2 || count < layers / 2 || count > layers * 2 + 2) continue;
      for (const LineShape::Number& n : s.numbers) {
        if (!n.counts || !n.whole) continue;
        if (!out_.layer ||
            std::abs(count - layers) < std::abs(static_cast<double>(out_.layer->count) - layers)) {
          out_.layer = s;
        }
      }
    }
  }

  void find_purge() {
    for (const LineShape& begin : out_.comments) {
      if (begin.count < 2) continue;
      const std::vector<std::string> others = counterparts(begin.shape);
      for (const LineShape& end : out_.comments) {
        if (std::find(others.begin(), others.end(), end.shape) == others.end() ||
            end.count != begin.count || end.line < begin.line) {
          continue;
        }
        out_.purge = Survey::Purge{begin, end};
        return;
      }
    }
  }

  // By comments of one kind that name most of the tools, each once.
  void name_tools() {
    std::map<std::string, std::vector<const Named*>> by_kind;
    for (const Named& n : named_) {
      if (out_.tools.contains(n.tool)) by_kind[n.kind].push_back(&n);
    }
    for (const auto& [kind, all] : by_kind) {
      std::set<int> tools;
      std::set<std::string> names;
      for (const Named* n : all) {
        tools.insert(n->tool);
        names.insert(n->name);
      }
      const bool once = tools.size() == all.size() && names.size() == all.size();
      if (!once || tools.size() * 2 < out_.tools.size()) continue;
      for (const Named* n : all) {
        SurveyedTool& t = out_.tools[n->tool];
        t.name = n->name;
        t.toolhead = n->toolhead;
        t.name_line = n->line;
      }
      return;
    }
  }

  Survey out_;
  const machine::Interpreter interpreter_;
  machine::InterpretedLine read_;
  gcode::State state_;
  motion::Limits limits_;
  UnknownCommands unknown_;
  Shapes commands_, comments_;
  std::vector<Named> named_;
  std::map<int, double> targets_;  // by T number
  std::set<int> waited_;
  std::set<int> fed_;  // tools
  int selected_ = -1;
  bool just_selected_ = false;
  bool printed_ = false;
  double top_z_mm_ = -1e9;
  // Right after a select.
  bool purging_ = false;
  double fed_mm_ = 0;
  std::size_t purge_count_ = 0;
  Box box_, purges_, all_;
};

}  // namespace

Result<Survey> survey(ByteSource& source, const rules::Rules& rules, const std::string& name) {
  auto recogniser = rules::Recogniser::make(rules);
  if (!recogniser) return std::move(recogniser.error());
  return Surveyor(rules, *recogniser).run(source, name);
}

}  // namespace forewarm::job
