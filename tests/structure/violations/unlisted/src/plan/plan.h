// Nothing wrong here.
