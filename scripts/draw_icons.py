"""Draw the icons of the entry page: a branching coral in a chart's frame, the same as static/pages/icon.svg, for home screens.

.venv/bin/python scripts/draw_icons.py        # writes static/entry/icons/
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw

ICONS = Path(__file__).parents[1] / "static" / "entry" / "icons"
PAPER, INK, MAGENTA = "#fffdf7", "#14202b", "#8e1260"
FINE = 4  # drawn so much larger, then made smaller: Pillow draws no smooth lines

# Stem and branches on a square of 32, as polylines.
CORAL = (
    ((16, 27), (16, 6)),
    ((16, 21), (9, 14), (9, 9)),
    ((16, 18), (23, 12), (23, 7)),
    ((16, 17), (12.5, 13), (12.5, 9.5)),
)
WIDTH = 3.2

SVG = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 32 32"><rect width="32" height="32" fill="{paper}"/>\
<rect x="1.5" y="1.5" width="29" height="29" fill="none" stroke="{ink}" stroke-width="3"/>\
<path fill="none" stroke="{magenta}" stroke-width="{width}" stroke-linecap="round" stroke-linejoin="round" d="{path}"/></svg>
"""


def main() -> None:
    """Write them all."""
    ICONS.mkdir(parents=True, exist_ok=True)
    path = "".join("M" + "L".join(f"{x} {y}" for x, y in line) for line in CORAL)
    (ICONS / "icon.svg").write_text(SVG.format(paper=PAPER, ink=INK, magenta=MAGENTA, width=WIDTH, path=path))
    for side in (180, 192, 512):
        draw(side, share=1.0, frame=True).save(ICONS / f"icon-{side}.png", optimize=True)
    # A phone may cut a maskable icon to a circle of four fifths: no frame, and the coral within it.
    draw(512, share=0.72, frame=False).save(ICONS / "icon-maskable-512.png", optimize=True)


def draw(side: int, *, share: float, frame: bool) -> Image.Image:
    """One icon of `side` pixels; the coral takes `share` of it."""
    large = side * FINE
    image = Image.new("RGB", (large, large), PAPER)
    pen = ImageDraw.Draw(image)
    if frame:
        pen.rectangle((0, 0, large - 1, large - 1), outline=INK, width=round(large * 3 / 32))
    unit, edge = large * share / 32, large * (1 - share) / 2
    radius = WIDTH * unit / 2
    for line in CORAL:
        points = [(edge + x * unit, edge + y * unit) for x, y in line]
        pen.line(points, fill=MAGENTA, width=round(2 * radius), joint="curve")
        for x, y in points:
            pen.ellipse((x - radius, y - radius, x + radius, y + radius), fill=MAGENTA)
    return image.resize((side, side), Image.Resampling.LANCZOS).quantize(32)


if __name__ == "__main__":
    main()
