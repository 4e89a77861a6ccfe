// In no build.
