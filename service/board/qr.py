"""An address as a picture that a telephone's camera opens (QR code, ISO/IEC 18004)."""

import segno
from markupsafe import Markup


def qr_code(text: str) -> Markup:
    """The code as SVG to stand in a page, with its quiet zone and a white ground."""
    made = segno.make(text, error="m", micro=False)
    # What segno writes is its own: digits and letters of a path.
    return Markup(made.svg_inline(scale=6, border=4, dark="#000", light="#fff", omitsize=True))
