"""The flag of the Union, for plant passports: twelve stars of five points in a circle.

Drawn by the proportions of the Council of Europe's specification of 1955, which the Union's
interinstitutional style guide (annex A1) repeats: 2 to 3, the circle's radius a third of the
height, a star's an eighteenth, points upwards. In black and white, as passports may be.
"""

from math import cos, pi, sin
from typing import Any

POINTS, STARS = 5, 12
# Inner to outer radius of a regular star of five points.
INNER = (3 - 5**0.5) / 2


def draw(canvas: Any, x: float, y: float, height: float) -> float:
    """The flag with its lower left corner at (x, y), in points. Returns its width."""
    width = height * 1.5
    canvas.saveState()
    canvas.setFillGray(0)
    canvas.rect(x, y, width, height, stroke=0, fill=1)
    canvas.setFillGray(1)
    for cx, cy in centres(height):
        outline = canvas.beginPath()
        for index, (px, py) in enumerate(_star(height / 18)):
            at = (x + cx + px, y + cy + py)
            outline.lineTo(*at) if index else outline.moveTo(*at)
        outline.close()
        canvas.drawPath(outline, stroke=0, fill=1)
    canvas.restoreState()
    return width


def centres(height: float) -> list[tuple[float, float]]:
    """Middles of the stars, as the hours of a clock lie, from the flag's lower left corner."""
    turns = (pi / 2 - 2 * pi * hour / STARS for hour in range(STARS))
    return [
        (height * 0.75 + height / 3 * cos(turn), height / 2 + height / 3 * sin(turn))
        for turn in turns
    ]


def _star(radius: float) -> list[tuple[float, float]]:
    """Corners of a star round the origin, one point upwards."""
    corners = []
    for step in range(2 * POINTS):
        turn = pi / 2 + pi * step / POINTS
        length = radius if step % 2 == 0 else radius * INNER
        corners.append((length * cos(turn), length * sin(turn)))
    return corners
