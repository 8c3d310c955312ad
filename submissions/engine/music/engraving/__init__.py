"""The engraved page: one part of a MusicXML tree made ready, drawn in a child process, cut into lines and bars. Begin at engrave.py."""
