# The libraries that the program stands on, as targets of the names that CMake and pkg-config give
# them, and FOREWARM_LIBRARIES, what --version says of them. With FOREWARM_STATIC, one set of objects
# is linked both ways: with what Debian has archives of as well as shared libraries (RE2 and xxHash),
# and with what it has headers of as well (fmt, spdlog and toml++), which are compiled in.
find_package(Threads REQUIRED)
find_package(PkgConfig REQUIRED)
find_package(nlohmann_json REQUIRED)
find_package(CLI11 REQUIRED)

# forewarm_library(TARGET [DEFINITIONS ...] [LINKS ...]): a target for what the compiler finds by itself.
function(forewarm_library target)
  cmake_parse_arguments(L "" "" "DEFINITIONS;LINKS" ${ARGN})
  add_library(${target} INTERFACE IMPORTED GLOBAL)
  target_compile_definitions(${target} INTERFACE ${L_DEFINITIONS})
  target_link_libraries(${target} INTERFACE ${L_LINKS})
endfunction()

if(FOREWARM_STATIC)
  pkg_check_modules(XXHASH REQUIRED libxxhash)
  pkg_check_modules(TOMLPP REQUIRED tomlplusplus)
  pkg_check_modules(fmt REQUIRED fmt)
  pkg_check_modules(spdlog REQUIRED spdlog)
  forewarm_library(PkgConfig::RE2 LINKS re2)
  forewarm_library(PkgConfig::XXHASH LINKS xxhash)
  forewarm_library(PkgConfig::TOMLPP)
  forewarm_library(fmt::fmt DEFINITIONS FMT_HEADER_ONLY=1)
  forewarm_library(spdlog::spdlog DEFINITIONS SPDLOG_FMT_EXTERNAL LINKS fmt::fmt Threads::Threads)
else()
  pkg_check_modules(RE2 REQUIRED IMPORTED_TARGET re2)
  pkg_check_modules(XXHASH REQUIRED IMPORTED_TARGET libxxhash)
  pkg_check_modules(TOMLPP REQUIRED IMPORTED_TARGET tomlplusplus)
  find_package(spdlog REQUIRED)
  find_package(fmt REQUIRED)
endif()

# Debian's re2.pc has no version to say.
string(CONCAT FOREWARM_LIBRARIES "CLI11 ${CLI11_VERSION}, fmt ${fmt_VERSION}, nlohmann-json "
  "${nlohmann_json_VERSION}, RE2, spdlog ${spdlog_VERSION}, toml++ ${TOMLPP_VERSION}, "
  "xxHash ${XXHASH_VERSION}")
