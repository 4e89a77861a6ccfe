#include "rules/table.h"

#include "rules/words.h"

namespace forewarm::rules {

namespace {

constexpr std::array<std::string_view, 4> kAxes{"x", "y", "z", "e"};

std::vector<std::string_view> axes(std::size_t count) {
  return {kAxes.begin(), kAxes.begin() + static_cast<std::ptrdiff_t>(count)};
}

template <class S>
std::vector<std::string_view> names(const Section<S>& section) {
  std::vector<std::string_view> out;
  for (const Key<S>& key : section.keys) out.push_back(key.name);
  return out;
}

// Reads one value of one key; each says whether it was right.
template <class S>
struct ValueReader {
  const RawTable& table;
  const Key<S>& key;
  S& into;

  bool operator()(const Number<S>& number) const {
    const toml::node* node = table.find(key.name);
    if (const auto* word = node->as_string(); word != nullptr && number.word_flag != nullptr) {
      if (word->get() == number.word) return into.*number.word_flag = true;
      table.diagnostics().add(position_of(*node), std::string(key.name) + " must be a number or " +
                                                      quoted(number.word) + ", not " +
                                                      quoted(word->get()));
      return false;
    }
    double value = 0;
    if (!table.number(key.name, number.limits, value)) return false;
    number.set(into, value);
    return true;
  }
  bool operator()(const Index<S>& index) const {
    int value = 0;
    if (!table.index(key.name, value)) return false;
    std::visit([&](auto field) { into.*field = value; }, index.field);
    return true;
  }
  bool operator()(const Flag<S>& flag) const { return table.flag(key.name, into.*flag.field); }
  bool operator()(const Text<S>& text) const {
    std::string& field = into.*text.field;
    switch (text.rule) {
      case TextRule::name:
        return table.name(key.name, field);
      case TextRule::pattern:
        return table.filled_text(key.name, field);
      default:
        return table.fit_text(key.name, field);
    }
  }
  bool operator()(const Choice<S>& choice) const {
    std::string word;
    if (!table.raw_text(key.name, word)) return false;
    std::vector<std::string_view> known;
    for (const Word& w : choice.words) {
      if (word == w.name) {
        choice.set(into, w.value);
        return true;
      }
      known.push_back(w.name);
    }
    table.diagnostics().add(table.at(key.name),
                            "unknown " + std::string(key.name) + ' ' + quoted(word),
                            suggest(word, known));
    return false;
  }
  bool operator()(const Lines<S>& lines) const {
    return table.lines(key.name, lines.patterns, into.*lines.field);
  }
  bool operator()(const LineOrLines<S>& lines) const {
    const toml::node* node = table.find(key.name);
    if (node != nullptr && !node->is_string() && !node->is_array()) {
      table.diagnostics().add(position_of(*node), std::string(key.name) +
                                                      " must be a string or an array of strings, "
                                                      "not " +
                                                      kind_of(*node));
      return false;
    }
    if (node == nullptr || node->is_array()) return table.lines(key.name, false, into.*lines.field);
    std::string line;
    if (!table.fit_text(key.name, line)) return false;
    into.*lines.field = {std::move(line)};
    return true;
  }
  bool operator()(const PerAxis<S>& values) const {
    const auto inner = table.table(key.name, std::string(key.name), axes(kAxes.size()));
    if (!inner) return false;
    for (std::size_t i = 0; i < kAxes.size(); ++i) {
      inner->number(kAxes[i], values.limits, (into.*values.field)[i]);
    }
    return true;
  }
  bool operator()(const Spans<S>& spans) const {
    return std::visit([&](auto field) { return read_spans(into.*field); }, spans.field);
  }
  bool operator()(const StepAction& action) const {
    if constexpr (std::is_same_v<S, Step>) {
      switch (action.takes) {
        case StepAction::Takes::number:
          return table.number(key.name, action.limits, into.amount);
        case StepAction::Takes::line:
          return table.name(key.name, into.gcode);
        case StepAction::Takes::true_only:
          return read_true();
        case StepAction::Takes::position:
          return read_position(action.limits);
      }
    }
    return false;
  }
  // The loader's own, or a section's.
  template <class Other>
  bool operator()(const Other&) const {
    return false;
  }

 private:
  bool read_true() const {
    bool yes = true;
    if (!table.flag(key.name, yes)) return false;
    if (!yes) {
      table.diagnostics().add(table.at(key.name), std::string(key.name) + " must be true",
                              "leave the step out instead");
    }
    return yes;
  }
  bool read_position(Limits limits) const {
    if constexpr (std::is_same_v<S, Step>) {
      const auto inner = table.table(key.name, std::string(key.name), axes(into.move_mm.size()));
      if (!inner) return false;
      bool none = true;
      for (std::size_t i = 0; i < into.move_mm.size(); ++i) {
        double to = 0;
        if (inner->number(kAxes[i], limits, to)) into.move_mm[i] = to;
        none = none && inner->find(kAxes[i]) == nullptr;
      }
      if (none) inner->need(kAxes[0], "or y, or z");
      return true;
    }
    return false;
  }
  bool read_spans(std::array<Range, 3>& spans) const {
    const auto inner = table.table(key.name, std::string(key.name), axes(spans.size()));
    if (!inner) return false;
    for (std::size_t i = 0; i < spans.size(); ++i) inner->range(kAxes[i], spans[i]);
    return true;
  }
  bool read_spans(std::optional<std::array<Range, 2>>& spans) const {
    const auto inner = table.table(key.name, std::string(key.name), axes(spans.emplace().size()));
    if (!inner) return false;
    for (std::size_t i = 0; i < spans->size(); ++i) {
      // A side left out would make a strip, or the whole bed, of it.
      inner->need(kAxes[i], key.hint);
      inner->range(kAxes[i], (*spans)[i]);
    }
    return true;
  }
};

}  // namespace

template <class S>
Table<S>::Table(const toml::table& table, const Section<S>& section, std::string where,
                Diagnostics& diagnostics)
    : table_(table, std::move(where), names(section), diagnostics), section_(section) {}

template <class S>
bool Table<S>::read(S& into) {
  bool all = true;
  for (const Key<S>& key : section_.keys) {
    if (key.required) need(key);
    all = (read_key(key, into) || !key.required) && all;
  }
  return all;
}

template <class S>
bool Table<S>::read_key(const Key<S>& key, S& into) {
  if (!has(key)) return false;
  if (!std::visit(ValueReader<S>{table_, key, into}, key.value)) return false;
  read_.push_back(&key);
  return true;
}

template class Table<Rules>;
template class Table<Machine>;
template class Table<Motion>;
template class Table<Feeder>;
template class Table<AttentionSettings>;
template class Table<Toolhead>;
template class Table<Filament>;
template class Table<GapSettings>;
template class Table<Step>;
template class Table<Dialect>;
template class Table<Recognise>;
template class Table<Duration>;
template class Table<RecordSettings>;
template class Table<Observe>;

}  // namespace forewarm::rules
