# cmake -DFOLDER=src/report/page -DTO=page_files.cpp -P embed.cmake
# Writes a source file that holds the page's style and script, and the hashes by which the page's policy allows them.
# Lines that are nothing but a comment, and blanks at the beginning of lines, stay behind: no text in the sources
# spans lines. As numbers, so that no byte can end a literal.
function(stripped path out)
  file(READ "${path}" text)
  string(REGEX REPLACE "/\\*[^*]*\\*+([^/*][^*]*\\*+)*/" "" text "${text}")
  string(REGEX REPLACE "(^|\n)[ ]*//[^\n]*" "\\1" text "${text}")
  string(REGEX REPLACE "\n[ \n]*" "\n" text "\n${text}")
  set(${out} "${text}" PARENT_SCOPE)
endfunction()

# Leaves out blanks that mean nothing: before the first quote or slash of a line and after the last, and between texts
# in single quotes. No text spans lines, and none has a quote within. Statements end in semicolons or braces, so lines
# that end in one, or in what opens something, need no end. tests/page compares the tokens before and after.
function(squeezed text out)
  set(mark "=*<>?:,{}();&|%")
  set(code "[^'\"`/\n]*")
  set(texts "([^'\"`/\n]|'[^'\n]*')*")
  set(before "")
  while(NOT before STREQUAL text)
    set(before "${text}")
    string(REGEX REPLACE "(\n${texts}[${mark}]) " "\\1" text "${text}")
    string(REGEX REPLACE "(\n${texts}) ([${mark}])" "\\1\\3" text "${text}")
    string(REGEX REPLACE "([${mark}]) (${code}\n)" "\\1\\2" text "${text}")
    string(REGEX REPLACE " ([${mark}]${code}\n)" "\\1" text "${text}")
    # Not "a + +b".
    string(REGEX REPLACE "(\n${texts}[a-zA-Z0-9_)]) ([-+]) ([a-zA-Z0-9_(])" "\\1\\3\\4" text "${text}")
  endwhile()
  string(REGEX REPLACE "([[{(,;}])\n" "\\1" text "${text}")
  string(REGEX REPLACE "\n([])}.?:&|=])" "\\1" text "${text}")
  set(${out} "${text}" PARENT_SCOPE)
endfunction()

# Base64 (RFC 4648) of what hexadecimal digits say.
function(base64_of hex out)
  set(alphabet ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/)
  string(LENGTH "${hex}" length)
  set(text "")
  set(at 0)
  while(at LESS length)
    string(SUBSTRING "${hex}" ${at} 6 three)
    string(LENGTH "${three}" digits)
    string(SUBSTRING "${three}0000" 0 6 three)
    math(EXPR value "0x${three}")
    set(letters 4)
    if(digits EQUAL 4)
      set(letters 3)
    elseif(digits EQUAL 2)
      set(letters 2)
    endif()
    foreach(shift RANGE 18 0 -6)
      math(EXPR index "(${value} >> ${shift}) & 63")
      if(letters GREATER 0)
        string(SUBSTRING "${alphabet}" ${index} 1 letter)
      else()
        set(letter "=")
      endif()
      string(APPEND text "${letter}")
      math(EXPR letters "${letters} - 1")
    endforeach()
    math(EXPR at "${at} + 6")
  endwhile()
  set(${out} "${text}" PARENT_SCOPE)
endfunction()

function(constant name text out)
  string(SHA256 hash "${text}")
  base64_of("${hash}" hash)
  string(HEX "${text}" bytes)
  string(REGEX REPLACE "(..)" "0x\\1," bytes "${bytes}")
  string(REGEX REPLACE "(0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,0x..,)" "\\1\n"
         bytes "${bytes}")
  string(LENGTH "${text}" length)
  set(${out} "constexpr unsigned char ${name}Bytes[] = {
${bytes}};
}  // namespace
const std::string_view ${name}{reinterpret_cast<const char*>(${name}Bytes), sizeof ${name}Bytes};
const std::string_view ${name}Hash = \"sha256-${hash}\";
namespace {
" PARENT_SCOPE)
endfunction()

set(style "")
foreach(sheet page sections charts)
  stripped("${FOLDER}/${sheet}.css" text)
  string(APPEND style "${text}")
endforeach()
set(script "")
foreach(part logic data picture facts tables page)
  stripped("${FOLDER}/${part}.js" text)
  string(APPEND script "${text}")
endforeach()
squeezed("${script}" script)
constant(kPageStyle "${style}" style)
constant(kPageScript "${script}" script)
file(WRITE "${TO}" "// Generated from ${FOLDER}; edit that.
#include \"report/page_files.h\"

namespace forewarm::report {
namespace {
${style}${script}}  // namespace
}  // namespace forewarm::report
")
