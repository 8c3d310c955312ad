"""Written strokes held against what was struck: which were played and when, and what nobody wrote. Begin at search.py."""
