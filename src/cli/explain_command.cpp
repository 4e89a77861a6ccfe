#include "cli/commands.h"
#include "cli/outputs.h"
#include "cli/topics.h"

namespace forewarm::cli {

int run_explain(const Context& context, const ExplainOptions& options) {
  if (options.list) return print(context, topic_list(context.text_width()));
  std::string word;
  for (const std::string& part : options.words) word += (word.empty() ? "" : " ") + part;
  if (word.empty()) {
    Error error{Error::Kind::usage, "what is to be explained?"};
    error.hint = "forewarm explain --list has all that can be";
    return context.fail(error);
  }
  auto text = explanation(word, context.text_width());
  return text ? print(context, std::move(*text)) : context.fail(text.error());
}

}  // namespace forewarm::cli
