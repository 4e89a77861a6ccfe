# cmake -C config/sanitize.cmake -S . -B build-sanitize -G Ninja: the program and its tests under the
# address and undefined-behaviour sanitizers. Optimised a little, or the tests would take too long;
# -g1 is enough for a report to name files and lines; with all of -g the folder is over twice as large.
set(CMAKE_BUILD_TYPE RelWithDebInfo CACHE STRING "" FORCE)
set(CMAKE_CXX_FLAGS_RELWITHDEBINFO "-O1 -g1 -gz" CACHE STRING "" FORCE)
set(FOREWARM_TESTS ON CACHE BOOL "" FORCE)
set(FOREWARM_SANITIZE ON CACHE BOOL "" FORCE)
set(FOREWARM_WERROR OFF CACHE BOOL "" FORCE)
