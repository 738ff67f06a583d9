"""The spoken language: JSGF files read into automata that carry both words and meaning."""
