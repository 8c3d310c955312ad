"""The click as the phone heard it: ours or a stranger's, where it is, and the sound without it. Begin at search.py."""
