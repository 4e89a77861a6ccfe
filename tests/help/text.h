// Lines of text, for tests.
#pragma once

#include <string>
#include <vector>

namespace forewarm::test {

using Lines = std::vector<std::string>;

// Without their endings, which are a newline each; `joined` gives them back.
Lines lines_of(const std::string& text);
std::string joined(const Lines& lines);

// A numbered line with the checksum that firmware asks for: the bytes before *, by exclusive or.
std::string summed(const std::string& body);

}  // namespace forewarm::test
