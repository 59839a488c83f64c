"""Templates of pages, and how they are filled in.

The only place that knows jinja2, which is imported when a page is made.
"""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from dewmargin.core.display import printable

if TYPE_CHECKING:
    from jinja2 import Environment


def render(template: str, **given: object) -> str:
    """Fill in a template of this folder; a name that the template asks for must be given.

    All that is filled in is escaped, unless it is `Markup`.
    """
    return _environment().get_template(template).render(given)


def _seen(value: object) -> object:
    """Return a text as it is safe to show; other values, and markup, as they are."""
    return printable(value) if type(value) is str else value


@functools.cache
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 - slow to import

    return Environment(
        loader=PackageLoader("dewmargin", "reports/page/templates"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_seen,
        trim_blocks=True,
        lstrip_blocks=True,
    )
