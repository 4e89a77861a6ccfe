# cmake -C config/release.cmake -S . -B build -G Ninja: the program as users have it, and its tests.
set(CMAKE_BUILD_TYPE Release CACHE STRING "" FORCE)
set(FOREWARM_TESTS ON CACHE BOOL "" FORCE)
set(FOREWARM_SANITIZE OFF CACHE BOOL "" FORCE)
set(FOREWARM_WERROR OFF CACHE BOOL "" FORCE)
