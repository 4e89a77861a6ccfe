// What is wrong with the tags of a page, for tests of what writes them.
#pragma once

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

// Empty, if nothing is: every tag closed, in order, every attribute quoted, no stray < or &.
// Stricter than HTML, which is the point.
inline std::string broken_markup(std::string_view page) {
  const std::vector<std::string_view> empty{"meta", "!DOCTYPE", "input"};
  std::vector<std::string> open;
  std::size_t i = 0;
  const auto here = [&] { return " near: " + std::string(page.substr(i, 60)); };
  while (i < page.size()) {
    if (page[i] == '&') {
      const std::string_view entity = page.substr(i, page.find(';', i) - i + 1);
      if (entity != "&amp;" && entity != "&lt;" && entity != "&gt;" && entity != "&quot;" &&
          entity != "&#39;") {
        return "stray &" + here();
      }
    }
    if (page[i] == '>') return "stray >" + here();
    if (page[i] != '<') {
      ++i;
      continue;
    }
    const bool closing = page.substr(i, 2) == "</";
    std::size_t at = i + (closing ? 2 : 1);
    const std::size_t name_end = page.find_first_of(" />\n", at);
    if (name_end == std::string_view::npos) return "unfinished tag" + here();
    const std::string name(page.substr(at, name_end - at));
    if (name.empty()) return "stray <" + here();
    at = name_end;
    bool self_closed = false;
    for (bool quoted = false; at < page.size() && (quoted || page[at] != '>'); ++at) {
      if (page[at] == '"') quoted = !quoted;
      if (page[at] == '=' && !quoted && page[at + 1] != '"') return "unquoted" + here();
      if (page[at] == '<') return "tag in tag" + here();
      self_closed = !quoted && page[at] == '/';
    }
    if (at >= page.size()) return "unfinished tag" + here();
    const bool is_empty = std::find(empty.begin(), empty.end(), name) != empty.end();
    if (closing) {
      if (open.empty() || open.back() != name) return "closes what is not open" + here();
      open.pop_back();
    } else if (!self_closed && !is_empty) {
      open.push_back(name);
    }
    i = at + 1;
    if ((name == "style" || name == "script") && !closing) i = page.find("</" + name + ">", i);
  }
  return open.empty() ? "" : "never closed: " + open.back();
}

inline std::size_t count(std::string_view page, std::string_view what) {
  std::size_t n = 0;
  for (std::size_t at = page.find(what); at != std::string_view::npos;
       at = page.find(what, at + what.size())) {
    ++n;
  }
  return n;
}

inline bool has(const std::string& page, std::string_view what) {
  return page.find(what) != std::string::npos;
}
