// Only in a comment of the build.
