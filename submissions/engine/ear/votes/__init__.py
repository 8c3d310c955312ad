"""Zero by the written strokes: every heard time less every written one votes, and what that knows. Begin at ballot.py."""
