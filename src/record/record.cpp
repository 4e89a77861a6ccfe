#include "record/record.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "record/emitter.h"
#include "record/lines.h"

namespace forewarm::record {

namespace {

constexpr std::array<std::string_view, 5> kWhats{"start", "leave", "there", "ready", "end"};

// The first line, or as much of it as a line may have.
Result<std::string> beginning(ByteSource& source) {
  std::string text(kLongestLine, '\0');
  std::size_t have = 0;
  while (have < text.size()) {
    auto got = source.read_at(have, std::span(text.data() + have, text.size() - have));
    if (!got) return std::move(got.error());
    if (*got == 0) break;
    have += *got;
    if (text.find('\n', have - *got) < have) break;
  }
  text.resize(have);
  text.resize(std::min(text.find('\n'), text.size()));
  if (text.ends_with('\r')) text.pop_back();
  return text;
}

Error refused(const ReadOptions& options, std::string message, std::string hint = {}) {
  return {Error::Kind::refused, std::move(message), options.name, 0, 0, {}, std::move(hint)};
}

}  // namespace

const char* name_of(Echo::What what) { return kWhats[std::size_t(what)].data(); }

std::optional<Echo::What> what_of(std::string_view word) {
  for (std::size_t i = 0; i < kWhats.size(); ++i) {
    if (kWhats[i] == word) return Echo::What(i);
  }
  return std::nullopt;
}

std::optional<Said> said_in(std::string_view text) {
  if (!text.starts_with(kEchoStart)) return std::nullopt;
  Said out;
  const char* const end = text.data() + text.size();
  const auto number = std::from_chars(text.data() + kEchoStart.size(), end, out.number);
  if (number.ec != std::errc() || number.ptr == end || *number.ptr != ' ') return std::nullopt;
  const char* const word = number.ptr + 1;
  const auto* const after =
      std::find_if(word, end, [](char c) { return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z'); });
  const auto what = what_of({word, std::size_t(after - word)});
  if (!what) return std::nullopt;
  out.what = *what;
  return out;
}

Result<Summary> read(ByteSource& source, const rules::Rules& rules, const ReadOptions& options,
                     Listener& listener) {
  auto first = beginning(source);
  if (!first) return std::move(first.error());
  if (source.size() == 0) return refused(options, "the record is empty");
  if (first->starts_with("\xff\xfe") || first->starts_with("\xfe\xff")) {
    return refused(options, "the record is UTF-16", "save it as UTF-8 first");
  }
  Emitter emitter(rules, listener);
  Lines lines(source, options.name);
  const bool csv = is_csv_header(*first) || options.name.ends_with(".csv");
  emitter.summary().form = csv ? Summary::Form::csv : Summary::Form::text;
  Status status =
      csv ? read_csv(lines, options, emitter) : read_text_log(lines, rules, options, emitter);
  if (!status) return std::move(status.error());
  Summary& found = emitter.summary();
  found.bytes = lines.offset();
  if (found.samples + found.echoes + found.stops + found.selects > 0) return std::move(found);
  if (found.untimed > 0) {
    return refused(options, "the record speaks of heaters, but none of its lines has a time",
                   "say with time of [record] where it stands");
  }
  if (found.unassigned > 0) {
    return refused(options,
                   "the record has temperatures, but does not say of which heater, and the machine "
                   "has several",
                   "name them with [[observe]], or leave one [[toolhead]] in the rule file");
  }
  return refused(options, "the record has no temperature, no echo, no stop and no select");
}

}  // namespace forewarm::record
