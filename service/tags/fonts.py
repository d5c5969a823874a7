"""Letters for tags: a face that comes with the PDF library, and a wider one where there is one.

The first has the letters of western Europe. Where a text needs others, DejaVu Sans is taken if it
is installed. What no face has is written by the letter that it is made of (s for s with a comma
below), else as a question mark; on official papers it is refused instead.
"""

import unicodedata
from functools import cache
from math import inf
from pathlib import Path
from typing import NamedTuple

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

_OWN = Path(reportlab.__file__).parent / "fonts"
_WIDER = (Path("/usr/share/fonts/truetype/dejavu"), Path("/usr/share/fonts/dejavu-sans-fonts"),
          Path("/usr/share/fonts/dejavu"))  # fmt: skip
_FILES = {
    "own": {"": "Vera.ttf", "bold": "VeraBd.ttf", "italic": "VeraIt.ttf"},
    "wider": {"": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf",
              "italic": "DejaVuSans-Oblique.ttf"},
}  # fmt: skip


class Unprintable(ValueError):
    """A text of an official paper has letters that no face here has: `letters`."""

    def __init__(self, letters: str) -> None:
        super().__init__(letters)
        self.letters = letters


class Written(NamedTuple):
    """A text and the face that has all its letters."""

    text: str
    face: str

    def width(self, size: float) -> float:
        """Its length in points."""
        return float(pdfmetrics.stringWidth(self.text, self.face, size))

    def size_in(self, room: float) -> float:
        """The size, in points, at which it is as long as that; blanks alone fit at any."""
        long = self.width(1.0)
        return room / long if long else inf


def written(text: str, style: str = "", *, official: bool = False) -> Written:
    """`text` (style "", bold or italic) ready to be drawn. Raises Unprintable if `official`."""
    plain = " ".join(unicodedata.normalize("NFC", text).split())
    for face in ("own", "wider"):
        name = _face(face, style)
        if name is not None and all(_has(name, letter) for letter in plain):
            return Written(plain, name)
    name = _face("wider", style) or _face("own", style)
    assert name is not None, "the own face comes with the library"
    if official:
        lacking = {letter for letter in plain if not _has(name, letter)}
        raise Unprintable("".join(sorted(lacking)))
    return Written("".join(_nearest(name, letter) for letter in plain), name)


def _nearest(name: str, letter: str) -> str:
    if _has(name, letter):
        return letter
    parts = unicodedata.normalize("NFKD", letter)
    kept = "".join(part for part in parts if _has(name, part) and not unicodedata.combining(part))
    return kept or "?"


def _has(name: str, letter: str) -> bool:
    return ord(letter) in pdfmetrics.getFont(name).face.charToGlyph


@cache
def _face(which: str, style: str) -> str | None:
    """The face's name, made known to the library once; None where this machine lacks it."""
    file = _FILES[which][style]
    folders = (_OWN,) if which == "own" else _WIDER
    found = next((folder / file for folder in folders if (folder / file).exists()), None)
    if found is None and which == "wider" and style == "italic":
        return _face(which, "")
    if found is None:
        return None
    name = found.stem
    pdfmetrics.registerFont(TTFont(name, str(found)))
    return name
