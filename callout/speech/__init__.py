"""Recognisers behind one protocol: a sound goes in, scored meanings come out."""
