// Nothing: CMake compiles a header beforehand for a unit only.
