"""Whether a reading is odd for its tree: checks that flag and never choose."""
