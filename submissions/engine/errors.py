"""The one small family of errors that the engine raises; every message is a sentence for a person."""


class EngineError(Exception):
    """Something the engine was given cannot be used; str(error) says what and where."""


class ScoreError(EngineError):
    """The MusicXML cannot be used at all (broken, too large, hostile, no such part)."""


class MediaError(EngineError):
    """The media file cannot be read (not media, refused kind, crashed or out-of-limit reader)."""
