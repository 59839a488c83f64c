"""SVG of a matplotlib figure for a page: small, in the page's colours, told in words."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from markupsafe import Markup, escape

from dewmargin.core.display import printable
from dewmargin.plot import style

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_BY_COLOUR = {light: name for name, (light, _) in style.COLOURS.items()}
_COLOUR = re.compile("|".join(_BY_COLOUR))
_LONG_NUMBER = re.compile(r"-?\d+\.\d{2,}")
_PATH_OR_PLACE = re.compile(r'(?<= )(?:d|x|y|points)="[^"]*"')
_REFERENCE = re.compile(r'(?:url\(#|href="#)([^")]+)')
_TAG = re.compile(r"<[^>]*>")
_ID = re.compile(r' id="([^"]*)"')
_NO_TURN = re.compile(r' transform="rotate\(-?0 [^)]*\)"')
_EMPTY = re.compile(r"<path d=\"[^\"]*\" style=\"fill: none\"/>")
_FONT = "font-family: 'DejaVu Sans', sans-serif; "
# Half a hundredth of a point: no one sees it, and it saves a third.
_DECIMALS = 2


def inline(figure: Figure, name: str, *, title: str, text: str) -> Markup:
    """Return a figure as an element of a page; `name` tells it from the page's other figures."""
    whole = style.content(figure, "svg", salt=name).decode("utf-8")
    # What stands before the drawing is a style that would reach the whole page.
    drawing = whole[whole.index('<g id="figure_1">') : whole.rindex("</svg>")]
    drawing = _EMPTY.sub("", drawing)
    width, height = (72.0 * inches for inches in figure.get_size_inches())
    used = set(_REFERENCE.findall(drawing))
    # Tags alone: a name in the drawing stays as it is.
    drawing = _TAG.sub(lambda tag: _small(tag[0], name, used), drawing)
    drawing = re.sub(r">\s+<", ">\n<", drawing)
    said = (
        f'<title id="{name}-title">{escape(printable(title))}</title>'
        f'<desc id="{name}-text">{escape(printable(text))}</desc>'
    )
    return Markup(  # noqa: S704 - matplotlib escapes its texts, we ours
        f'<svg class="chart" role="img" aria-labelledby="{name}-title {name}-text" '
        f'viewBox="0 0 {width:g} {height:g}">{said}{drawing}</svg>'
    )


def _small(tag: str, name: str, used: set[str]) -> str:
    """Return a tag with short numbers, the page's colours and font, and names of its own."""
    tag = (
        _PATH_OR_PLACE.sub(_rounded, _NO_TURN.sub("", tag))
        .replace(_FONT, "")
        .replace("xlink:href", "href")
    )
    tag = _COLOUR.sub(lambda m: f"var(--{_BY_COLOUR[m[0]]})", tag)
    tag = _ID.sub(lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", tag)
    return _REFERENCE.sub(lambda m: m[0].replace(m[1], f"{name}-{m[1]}"), tag)


def _rounded(found: re.Match[str]) -> str:
    def short(number: re.Match[str]) -> str:
        return f"{float(number[0]):z.{_DECIMALS}f}".rstrip("0").rstrip(".")

    return _LONG_NUMBER.sub(short, found[0]).replace(" \n", " ")
