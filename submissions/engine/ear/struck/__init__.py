"""What was struck: novelty, band by band, then onsets, each moved to the foot of its attack. Begin at onsets.py."""
