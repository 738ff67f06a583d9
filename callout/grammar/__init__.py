"""The spoken language: JSGF files compiled to automata that carry both words and meaning."""
