"""Mass and carbon, and how unsure they are."""
