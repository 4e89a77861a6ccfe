# cmake -C config/dev.cmake -S . -B build-dev -G Ninja: for work on the source. It builds fast, asserts,
# can be debugged, and takes warnings for errors.
set(CMAKE_BUILD_TYPE Debug CACHE STRING "" FORCE)
set(CMAKE_CXX_FLAGS_DEBUG "-O1 -g" CACHE STRING "" FORCE)
set(FOREWARM_TESTS ON CACHE BOOL "" FORCE)
set(FOREWARM_SANITIZE OFF CACHE BOOL "" FORCE)
set(FOREWARM_WERROR ON CACHE BOOL "" FORCE)
