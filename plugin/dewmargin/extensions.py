"""Strategies, equipment and readers by entry point; the built-ins take the same road.

Nothing is imported that no scenario names.
"""

from __future__ import annotations

from difflib import get_close_matches
from importlib.metadata import EntryPoint, entry_points

from dewmargin.errors import ExtensionError

GROUPS = {
    "reader": "dewmargin.readers",
    "strategy": "dewmargin.strategies",
    "equipment": "dewmargin.equipment",
}


def load(kind: str, name: str) -> type:
    """Import the extension of this kind and name.

    Raises
    ------
    ExtensionError
        If there is none of that name, several packages offer it, or its import fails.
    """
    installed = names(kind)
    if name not in installed:
        guess = get_close_matches(name, installed, n=1)
        hint = f"did you mean {guess[0]!r}? " if guess else ""
        known = ", ".join(sorted(installed)) or "none"
        raise ExtensionError(f"no {kind} is called {name!r}", hint=f"{hint}installed: {known}")
    entry, *others = installed[name]
    if others:
        owners = ", ".join(map(owner, installed[name]))
        raise ExtensionError(f"several packages offer a {kind} called {name!r}: {owners}")
    try:
        found: type = entry.load()
    except Exception as error:  # whatever a third party's import raises
        raise ExtensionError(
            f"the {kind} {name!r} from {owner(entry)} cannot be imported: {error}"
        ) from error
    return found


def names(kind: str) -> dict[str, list[EntryPoint]]:
    """Return what is installed of a kind, by name; nothing is imported."""
    found: dict[str, list[EntryPoint]] = {}
    for entry in entry_points(group=GROUPS[kind]):
        found.setdefault(entry.name, []).append(entry)
    return found


def owner(entry: EntryPoint) -> str:
    """Return the distribution that offers an extension, with its version."""
    return f"{entry.dist.name} {entry.dist.version}" if entry.dist else entry.value
