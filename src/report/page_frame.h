// What stands about the content of every page that the program writes.
//
// Contract: a page is one file that asks for nothing from anywhere. Its policy allows the embedded
// style and, where a page has data for it, the embedded script, both by their hashes: neither style
// attributes nor event attributes work in it. Valid HTML, if what stands between begin and end is.
#pragma once

#include <string>
#include <string_view>

namespace forewarm::report {

enum class PageScript { none, picture };

// From the first byte to <main>. The title is escaped here.
[[nodiscard]] std::string page_begun(std::string_view title, PageScript script);
// From </main> on. `data`: the JSON block that the script draws from, without "<" (page_data.h);
// empty for a page without script.
[[nodiscard]] std::string page_ended(std::string_view data = {});

}  // namespace forewarm::report
