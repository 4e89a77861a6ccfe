# cmake -DFROM=default.toml -DTO=built_in.cpp -P embed.cmake
# Writes a source file that holds FROM byte for byte. As numbers, so that no byte of it can end a literal.
file(READ "${FROM}" bytes HEX)
string(REGEX REPLACE "(..)" "0x\\1," bytes "${bytes}")
string(REGEX REPLACE "(0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,)" "\\1\n"
       bytes "${bytes}")
file(WRITE "${TO}" "// Generated from config/default.toml; edit that.
#include \"rules/load.h\"

namespace forewarm::rules {
namespace {
constexpr unsigned char kText[] = {
${bytes}};
}
std::string_view built_in_text() { return {reinterpret_cast<const char*>(kText), sizeof kText}; }
}  // namespace forewarm::rules
")
