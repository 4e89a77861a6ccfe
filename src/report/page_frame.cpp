#include "report/page_frame.h"

#include <fmt/format.h>

#include "report/beginnings.h"
#include "report/format.h"
#include "report/page_files.h"

namespace forewarm::report {

std::string page_begun(std::string_view title, PageScript script) {
  std::string out(kPageBeginning);
  // Names come from jobs. The policy keeps one that escaped() missed from loading or running
  // anything.
  out += fmt::format("style-src '{}'", kPageStyleHash);
  if (script == PageScript::picture) out += fmt::format("; script-src '{}'", kPageScriptHash);
  out += fmt::format(
      "; base-uri 'none'; form-action 'none'\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<meta name=\"color-scheme\" content=\"light dark\">\n<title>{} - forewarm</title>\n<style>",
      escaped(title));
  // To the byte what was hashed.
  out += kPageStyle;
  out += "</style>\n</head>\n<body>\n<main>\n";
  return out;
}

std::string page_ended(std::string_view data) {
  std::string out = "</main>\n";
  if (!data.empty()) {
    out += "<script type=\"application/json\" id=\"data\">";
    out += data;
    out += "</script>\n<script>";
    out += kPageScript;
    out += "</script>\n";
  }
  out += "</body>\n</html>\n";
  return out;
}

}  // namespace forewarm::report
