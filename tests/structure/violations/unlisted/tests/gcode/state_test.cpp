// In the build.
