"""Sync marks: groups found by waveform, timed by first arrival, and which to believe. Begin at groups.py."""
