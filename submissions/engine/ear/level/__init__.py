"""How loud and how clean a take is. Begin at measure.py."""
