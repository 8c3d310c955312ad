"""Where in the bar the next note stands, exactly; and the same in divisions, because backup and forward count in them."""

from fractions import Fraction


class Cursor:
    """One bar's cursor. Programs round tuplets to whole divisions; places reached by exact lengths are kept exact."""

    def __init__(self) -> None:
        self.at = Fraction(0)
        self.chord_at = Fraction(0)
        self.furthest = Fraction(0)
        self._raw = Fraction(0)
        self._exact = {Fraction(0): Fraction(0)}

    def rescale(self, ratio: Fraction) -> None:
        """Divisions changed inside the bar."""
        self._raw *= ratio
        self._exact = {raw * ratio: exact for raw, exact in self._exact.items()}

    def advance(self, duration: Fraction, length: Fraction) -> None:
        """Past a note of `duration` divisions whose exact length in quarters is `length`."""
        self.chord_at = self.at
        self._raw += duration
        self.at = self._exact.setdefault(self._raw, self.at + length)
        self.furthest = max(self.furthest, self.at)

    def move(self, duration: Fraction, divisions: Fraction) -> bool:
        """Back or on by divisions; False where that leads before the bar."""
        target = self._raw + duration
        self._raw = max(Fraction(0), target)
        self.at = self._exact.get(self._raw, self._raw / divisions)
        self.chord_at = self.at
        self.furthest = max(self.furthest, self.at)
        return target >= 0
