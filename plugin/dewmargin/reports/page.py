"""The page of results: one file that needs no network, no script and no explanation."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from dewmargin.inputs import Inputs
from dewmargin.stored import Data

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.columns import Table

FILE = "report.html"


class Page(Inputs):
    """A page with the answer, charts, their numbers, and what they rest on."""

    kind: Literal["page"] = "page"

    def files(self, tables: Mapping[str, Table], about: Mapping[str, Any]) -> Mapping[str, bytes]:
        """Return the page."""
        from dewmargin.reports.page_content import page  # noqa: PLC0415 - slow to import

        return {FILE: page(Data(tables, about)).encode("utf-8")}
