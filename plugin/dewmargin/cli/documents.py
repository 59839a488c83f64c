"""What commands print with --json: one document, whose first key says what it is."""

from __future__ import annotations

import json
from typing import Any

import click


def print_json(name: str, document: dict[str, Any]) -> None:
    """Print the document of a command."""
    whole = {"schema": f"dewmargin/{name}/1", **document}
    click.echo(json.dumps(whole, indent=1, allow_nan=False))
