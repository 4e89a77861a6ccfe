// Prints the words of rule files, from the table of keys, as entries of a fuzzer's dictionary:
// headers, keys, and the values of choices. rules.dict has the grammar around them.
#include <cstdio>
#include <string>

#include "rules/key_info.h"

using namespace forewarm::rules;

namespace {

void entry(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (c == '"' || c == '\\') out += '\\';
    out += c;
  }
  std::printf("\"%s\"\n", out.c_str());
}

std::string header(const SectionInfo& section) {
  const std::string name(section.name);
  switch (section.shape) {
    case SectionInfo::Shape::list:
      return "[[" + name + "]]";
    case SectionInfo::Shape::named:
      return "[" + name + ".PLA]";
    default:
      return "[" + name + "]";
  }
}

}  // namespace

int main() {
  for_each_section([](const auto& section) {
    using Shape = SectionInfo::Shape;
    if (section.shape == Shape::part) return entry(std::string(section.name) + " = ");
    if (section.shape != Shape::file) entry(header(section));
  });
  for (const KeyInfo& info : all_keys()) {
    const bool step = info.section == &sections::steps;
    entry(step ? "{ " + info.example + " }" : std::string(info.name) + " = ");
    for (const Word& word : info.words) entry('"' + std::string(word.name) + '"');
  }
}
