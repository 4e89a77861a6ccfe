# cmake -C config/package.cmake -S . -B build-package -G Ninja: the program as scripts/package packs it,
# hardened as Debian builds its own, and linked statically besides.
set(CMAKE_BUILD_TYPE Release CACHE STRING "" FORCE)
set(CMAKE_CXX_FLAGS "-fPIE -fstack-protector-strong -D_FORTIFY_SOURCE=2" CACHE STRING "" FORCE)
set(CMAKE_EXE_LINKER_FLAGS "-Wl,-z,relro,-z,now" CACHE STRING "" FORCE)
set(FOREWARM_STATIC ON CACHE BOOL "" FORCE)
set(FOREWARM_TESTS OFF CACHE BOOL "" FORCE)
set(FOREWARM_SANITIZE OFF CACHE BOOL "" FORCE)
set(FOREWARM_WERROR OFF CACHE BOOL "" FORCE)
