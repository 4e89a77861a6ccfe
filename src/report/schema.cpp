#include "report/schema.h"

#include <utility>
#include <vector>

#include "report/json_parts.h"
#include "rules/key_info.h"
#include "rules/keys.h"

namespace forewarm::report {

namespace {

using rules::Limits;
using Shape = rules::SectionInfo::Shape;

// No control characters, and none of the marks of rewritten jobs.
constexpr const char* kLine = "^(?![\\s\\S]*;fw)[^\\u0000-\\u001f\\u007f-\\u009f]*(?![\\s\\S])";

Json number(Limits limits) {
  Json out{{"type", "number"}};
  out[limits.above_low ? "exclusiveMinimum" : "minimum"] = limits.low;
  out["maximum"] = limits.high;
  return out;
}

Json index() { return {{"type", "integer"}, {"minimum", 0}, {"maximum", rules::kMaxIndex}}; }

Json line(bool filled) {
  Json out{{"type", "string"}, {"pattern", kLine}};
  if (filled) out["minLength"] = 1;
  return out;
}

Json filled() { return {{"type", "string"}, {"minLength", 1}}; }

Json array_of(Json items) { return {{"type", "array"}, {"items", std::move(items)}}; }

Json object(Json properties, const std::vector<std::string>& required = {}) {
  Json out{
      {"type", "object"}, {"properties", std::move(properties)}, {"additionalProperties", false}};
  if (!required.empty()) out["required"] = required;
  return out;
}

Json axes(std::string_view names, const Json& each) {
  Json out = Json::object();
  for (const char axis : names) out[std::string(1, axis)] = each;
  return out;
}

Json one_of(std::vector<Json> all) { return {{"anyOf", std::move(all)}}; }

Json reference(std::string_view section) { return {{"$ref", "#/$defs/" + std::string(section)}}; }

// What the value of a key may be.
template <class S>
struct ValueSchema {
  const rules::Key<S>& key;

  Json operator()(const rules::Number<S>& n) const {
    if (n.word.empty()) return number(n.limits);
    return one_of({number(n.limits), {{"const", n.word}}});
  }
  Json operator()(const rules::Index<S>&) const { return index(); }
  Json operator()(const rules::Flag<S>&) const { return {{"type", "boolean"}}; }
  Json operator()(const rules::Text<S>& text) const {
    if (text.rule == rules::TextRule::pattern) return filled();
    return line(text.rule == rules::TextRule::name);
  }
  Json operator()(const rules::Choice<S>& choice) const {
    Json words = Json::array();
    for (const rules::Word& word : choice.words) words.push_back(word.name);
    return {{"enum", std::move(words)}};
  }
  Json operator()(const rules::Lines<S>& lines) const {
    return array_of(lines.patterns ? filled() : line(false));
  }
  Json operator()(const rules::LineOrLines<S>&) const {
    return one_of({line(false), array_of(line(false))});
  }
  Json operator()(const rules::PerAxis<S>& values) const {
    return object(axes("xyze", number(values.limits)));
  }
  Json operator()(const rules::Spans<S>& spans) const {
    Json pair = array_of(number({rules::Range().low, rules::Range().high}));
    pair["minItems"] = pair["maxItems"] = 2;
    const bool area = spans.field.index() == 1;  // of which both axes are needed
    return area ? object(axes("xy", pair), {"x", "y"}) : object(axes("xyz", pair));
  }
  Json operator()(const rules::Tools<S>&) const {
    Json numbers = array_of(index());
    numbers["minItems"] = 1;
    numbers["uniqueItems"] = true;
    return one_of({std::move(numbers), {{"const", "seen"}}});
  }
  Json operator()(const rules::PlaceList<S>& list) const {
    Json out = array_of(one_of({index(), {{"type", "string"}}}));
    if (list.field.index() == 1) out["minItems"] = 1;  // `only`: somewhere at least
    return out;
  }
  Json operator()(const rules::Version&) const { return {{"const", 1}}; }
  Json operator()(const rules::StepAction& action) const {
    using Takes = rules::StepAction::Takes;
    switch (action.takes) {
      case Takes::number:
        return number(action.limits);
      case Takes::true_only:
        return {{"const", true}};
      case Takes::position: {
        Json out = object(axes("xyz", number(action.limits)));
        out["minProperties"] = 1;
        return out;
      }
      case Takes::line:
        return line(true);
    }
    return {};
  }
  Json operator()(const rules::Part& part) const { return reference(part.section->name); }
};

const rules::KeyInfo* info_of(const std::vector<rules::KeyInfo>& all,
                              const rules::SectionInfo& section, std::string_view key) {
  for (const rules::KeyInfo& info : all) {
    if (info.section == &section && info.name == key) return &info;
  }
  return nullptr;
}

class Schema {
 public:
  Json make() {
    Json sections = Json::object();
    rules::for_each_section([&](const auto& section) {
      if (section.shape == Shape::file) {
        top_ = table(section);
      } else {
        sections[std::string(section.name)] =
            section.shape == Shape::sequences ? step(section) : table(section);
      }
    });
    Json out{{"$schema", "https://json-schema.org/draft/2020-12/schema"},
             {"title", "A rule file of forewarm"}};
    out.update(top_);
    // What stands in the file where, in place of one table.
    rules::for_each_section([&](const auto& section) {
      Json& at = out["properties"][std::string(section.name)];
      const Json one = reference(section.name);
      switch (section.shape) {
        case Shape::list:
          at = array_of(one);
          if (section.name == rules::sections::toolhead.name) at["minItems"] = 1;
          break;
        case Shape::named:
          at = {{"type", "object"}, {"additionalProperties", one}};
          break;
        case Shape::sequences:
          at = {{"type", "object"}, {"additionalProperties", array_of(one)}};
          break;
        case Shape::file:
        case Shape::part:
          out["properties"].erase(std::string(section.name));
          return;
        case Shape::one:
          break;
      }
      at["description"] = section.doc;
    });
    out["$defs"] = std::move(sections);
    return out;
  }

 private:
  template <class S>
  Json value(const rules::Section<S>& section, const rules::Key<S>& key) {
    Json out = std::visit(ValueSchema<S>{key}, key.value);
    const rules::KeyInfo* const info = info_of(all_, section, key.name);
    if (info == nullptr || info->type == "table") return out;
    std::string about = std::string(key.doc);
    const std::string summary = info->summary();
    if (!info->unit.empty()) about += " In " + std::string(info->unit) + '.';
    if (!summary.empty()) about += " (" + summary + ')';
    for (const rules::Word& word : info->words) {
      about += "\n\"" + std::string(word.name) + "\": " + std::string(word.doc);
    }
    out["description"] = std::move(about);
    if (key.derived.empty() && !info->required) {
      const Json standard = Json::parse(info->default_text, nullptr, false);
      if (!standard.is_discarded()) out["default"] = standard;
    }
    return out;
  }

  template <class S>
  Json table(const rules::Section<S>& section) {
    Json properties = Json::object();
    std::vector<std::string> required;
    for (const rules::Key<S>& key : section.keys) {
      properties[std::string(key.name)] = value(section, key);
      if (key.required) required.emplace_back(key.name);
    }
    return object(std::move(properties), required);
  }

  // A step has one action, and what goes with that.
  template <class S>
  Json step(const rules::Section<S>& section) {
    std::vector<Json> actions;
    for (const rules::Key<S>& key : section.keys) {
      const auto* const action = std::get_if<rules::StepAction>(&key.value);
      if (action == nullptr) continue;
      Json properties = Json::object();
      properties[std::string(key.name)] = value(section, key);
      for (const rules::Key<S>& other : section.keys) {
        if (action->goes_with(other.name)) {
          properties[std::string(other.name)] = value(section, other);
        }
      }
      actions.push_back(object(std::move(properties), {std::string(key.name)}));
    }
    return one_of(std::move(actions));
  }

  const std::vector<rules::KeyInfo> all_ = rules::all_keys();
  Json top_;
};

}  // namespace

std::string rules_schema() { return written(Schema().make()); }

}  // namespace forewarm::report
