"""The invented demo cadence: three segments for snares, tenors, a five-way split bass line and cymbals.

Every bar is invented for this project. Each part is spelled in cells of one beat; a bar is a word of cell letters, so
that no two segments and no two parts share their rhythm and a take of the wrong part, or one that begins some bars
late, can be told. Notation of a cell: `cadence_xml.py`.
"""

from dataclasses import dataclass

from .cadence_xml import Voice, write_score

TEMPO = 108  # quarters a minute, chosen: a walking tempo that a first-year player can reach


@dataclass(frozen=True, slots=True)
class SegmentSource:
    """One segment of the cadence as MusicXML text."""

    name: str
    musicxml_text: str


SNARE = {
    "a": "s>R sL sR sR", "b": "s>L sR sL sL", "c": "e>R eL", "d": "s>fR sL sR sL", "e": "s/1>R s/1L s/1R sL", "f": "s/1 s/1 s>R s-",
    "g": "e3>R e3L e3R", "h": "e3>fL e3R e3L", "i": "s6R s6L s6R s6L s6R s6L", "j": "e- sR s>L", "k": "s>R s- s- s>L", "l": "q-", "m": "qz",
    "n": "e.>R sL", "o": "sR e>L sR", "p": "q>dR", "q": "s- sL sR s>L", "r": "q>fR", "t": "sR sL e>fR", "u": "e>R e/1L", "v": "s>R sL e/2R",
    "w": "eR s>L sR", "x": "e>dL eR", "y": "s>fR sR s>fL sL", "z": "s- e>R s/1L",
}  # fmt: skip
TENORS = {
    "a": "s:1 s:1 s:2 s:2", "b": "s:3> s:3 s:4 s:4", "c": "e:1> e:2", "d": "s:1>R s:3L s:1R s:3L", "e": "s/1:2 s/1:2 s:1> s-", "f": "e3:1 e3:2 e3:3",
    "g": "e3:4>f e3:3 e3:2", "h": "s:4>R s:1R s:2L s:3L", "i": "q-", "j": "e- e:14>", "k": "s- s:1 s:2 s:3", "l": "e.:4> s:1", "m": "q:23>",
    "n": "s:2 e:1> s:2", "o": "s6:1 s6:2 s6:3 s6:4 s6:3 s6:2", "p": "e:3>f s:2 s:1", "q": "s:1>R s:2R s:4L s:3L", "r": "qz:1", "t": "s:1 s- s:4 s:4>",
    "u": "e:2 s/1:3 s/1:4", "v": "s- s:4> e:1", "w": "e:34> e:12>",
}  # fmt: skip
BASS = {
    "a": "s:1 s:2 s:3 s:4", "b": "s:5 s:4 s:3 s:2", "c": "e:U> e:U", "d": "s:1 s:1 s:2 s:2", "e": "s:3 s:3 s:4 s:5", "f": "e3:1 e3:3 e3:5>",
    "g": "q-", "h": "q:U>", "i": "s:5> s- s:1 s:2", "j": "e:35 e:24", "k": "s- s:2 s:4 s-", "l": "s6:1 s6:2 s6:3 s6:4 s6:5 s6:5", "m": "e:5> s:4 s:3",
    "n": "e.- s:1>", "o": "s:2 s:3 e:4", "p": "e:U> e-", "q": "s:1 s:3 s:2 s:4", "r": "e- e:U>", "t": "s:U> s- s:U s:U", "u": "s:5 s:5 s:1 s:1",
    "v": "e3:5 e3:4 e3:2", "w": "s:4 s:2 s- s:1>", "x": "s/1:3 s/1:3 e:5>", "y": "q:5>f",
}  # fmt: skip
CYMBALS = {
    "a": "q>", "b": "q-", "c": "e e>", "d": "e>. e.", "e": "e- e>", "f": "q>.", "g": "s. s. e>", "h": "e.> s.", "i": "e3> e3. e3.", "j": "s- e>. s.",
}  # fmt: skip

# Words of four letters a bar; a slash ends a bar.
COPPER_GATE = {
    "snare": "r l c n / a b d o / w t v k / e f g r / j q y x / i c h n / a b e f / d z r p",
    "tenors": "m i c l / d q a b / k n f g / w j e i / h p t v / o c u n / a b h q / l k m j",
    "bass": "h g c p / a b d e / i k j m / f f o r / q u b w / l t n h / d e a v / x m t h",
    "cymbals": "a b a b / c b d a / e e f b / i b a e / g a h b / a e c f / d d b g / a b e a",
}
LONG_LADDER = {
    "snare": (
        "c n j r / q w a b / l l e f / d o y t / g h c k / v u p l / a b b a / m c x z / "
        "i g n r / t t w j / e e f q / y d a b / o k h u / l r z v / g i d d / e f c r"
    ),
    "tenors": (
        "l c m i / i i a b / f g d q / k v t n / h q l j / o f c p / u e w m / i k b a / "
        "d d n l / r c g f / v t h h / p w j i / a q b e / n k l u / g o m c / h d w m"
    ),
    "bass": (
        "g g h r / i m k n / a d e b / c p j f / w o q u / t r l h / g n x y / b a v m / "
        "e d t c / f v i k / u w j o / p h g r / a q b l / n y d x / m e c t / f a b h"
    ),
    "cymbals": (
        "b b a b / e b e a / a c b f / d b b e / g b h a / b i a b / c c f e / a b b b / "
        "j e a b / b f d a / h e b g / a b c i / e a e b / f f b j / b a g d / c a b a"
    ),
}
LAST_LANTERN = {
    "snare": "p l r j / y a b q / e f / d h g n / z x c w / t o i k / v v u r / a b m c / j q e f / l g y d / n h t z / e e f r",
    "tenors": "g i j k / b h n c / u w / a q p l / t f o v / d e m i / r k h j / q a g n / w l c t / i p b d / o f u e / h q j m",
    "bass": "y g r n / k b a i / t h / m x w j / u o c d / v l p e / q f g y / b n a r / h k x m / g i j u / e d l v / a b c h",
    "cymbals": "f b e b / b a b c / a a / j b d e / b g a b / i e b f / a b h c / b b e a / d j b b / a e g b / c f i b / a h b a",
}
SEGMENTS = (("Copper Gate", COPPER_GATE), ("Long Ladder", LONG_LADDER), ("Last Lantern", LAST_LANTERN))
VOICES = (
    Voice("P1", "Snare", "snare", "S.D.", SNARE, {1: "C5"}),
    Voice("P2", "Tenors", "tenors", "Ten.", TENORS, {1: "E5", 2: "C5", 3: "A4", 4: "F4"}),
    Voice("P3", "Bass Drums", "bass", "B.D.", BASS, {1: "G5", 2: "E5", 3: "C5", 4: "A4", 5: "F4"}),
    Voice("P4", "Cymbals", "cymbals", "Cym.", CYMBALS, {1: "C5"}),
)


def cadence() -> tuple[SegmentSource, ...]:
    """The three segments in running order: 8, 16 and 12 bars."""
    return tuple(SegmentSource(name, write_score(name, TEMPO, VOICES, words)) for name, words in SEGMENTS)
