"""A group of commands of which each is imported when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any, NamedTuple

import click


class Listed(NamedTuple):
    """Where a command is, as module:attribute, and the first paragraph of its help."""

    where: str
    help: str


class LazyCommands(Mapping[str, click.Command]):
    """Commands by name: the names are known, a command is imported when it is looked up."""

    def __init__(self, places: Mapping[str, Listed]) -> None:
        self.places = places

    def __getitem__(self, name: str) -> click.Command:
        """Import a command and return it; an unknown name is a KeyError."""
        module, attribute = self.places[name].where.split(":")
        command: click.Command = getattr(import_module(module), attribute)
        return command

    def __iter__(self) -> Iterator[str]:
        """Return the names in the order of the table."""
        return iter(self.places)

    def __len__(self) -> int:
        """Return how many commands there are."""
        return len(self.places)


class LazyGroup(click.Group):
    """A group that lists its commands without importing them.

    Parameters
    ----------
    places : mapping of str to Place
        Each command by its name.
    """

    def __init__(self, *args: Any, places: Mapping[str, Listed], **more: Any) -> None:  # noqa: ANN401 - click's
        super().__init__(*args, **more)
        self.commands = LazyCommands(places)  # type: ignore[assignment]  # none is added
        self.listed = click.Group(
            commands=[click.Command(name, help=place.help) for name, place in places.items()]
        )

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write what --help lists, from the places alone."""
        self.listed.format_commands(ctx, formatter)
