"""Entry points of strategies, equipment, readers and reports; built-ins take the same road.

Nothing is imported that no scenario names.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.metadata import EntryPoint, EntryPoints, entry_points
from pathlib import Path

from dewmargin.errors import ExtensionError
from dewmargin.inputs import Inputs

GROUPS = {
    "reader": "dewmargin.readers",
    "strategy": "dewmargin.strategies",
    "equipment": "dewmargin.equipment",
    "report": "dewmargin.reports",
}
METHODS = {"reader": "case", "strategy": "setpoint", "equipment": "capability", "report": "files"}
# The key of a scenario's table that names its class; a space is named by its table.
SELECTORS = {"strategy": "rule", "equipment": "kind", "report": "kind"}
OK = "ok"


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """An extension, and by whom it comes.

    Attributes
    ----------
    kind, name : str
        A key of `GROUPS`, and what a scenario calls it.
    distribution, version : str
        The package it comes with; "" is not known.
    object : str
        Where its class is: module and name.
    state : str or None
        `OK`, or why it cannot be used; None: not tried.
    """

    kind: str
    name: str
    distribution: str
    version: str
    object: str
    state: str | None


def load(kind: str, name: str) -> type[Inputs]:
    """Import the extension of this kind and name.

    Raises
    ------
    ExtensionError
        If there is none of that name, several packages offer it, its import fails, or what is
        imported cannot check and do what a scenario's table asks for.
    """
    installed = names(kind)
    if name not in installed:
        guess = get_close_matches(name, installed, n=1)
        hint = f"did you mean {guess[0]!r}? " if guess else ""
        known = ", ".join(installed) or "none"
        raise ExtensionError(f"no {kind} is called {name!r}", hint=f"{hint}installed: {known}")
    entry, *others = installed[name]
    if others:
        owners = ", ".join(map(owner, installed[name]))
        raise ExtensionError(
            f"several packages offer a {kind} called {name!r}: {owners}", hint="remove all but one"
        )

    def refused(why: str, hint: str | None = None) -> ExtensionError:
        return ExtensionError(f"the {kind} {name!r} from {owner(entry)} {why}", hint=hint)

    try:
        found = entry.load()
    except (Exception, SystemExit) as error:  # whatever a third party's import raises
        raise refused(f"cannot be imported: {error}") from error
    if not (isinstance(found, type) and issubclass(found, Inputs)):
        raise refused(
            "is no class derived from dewmargin.inputs.Inputs",
            hint="a scenario's table is checked by it",
        )
    if not callable(getattr(found, METHODS[kind], None)):
        raise refused(f"has no method {METHODS[kind]}")
    if kind in SELECTORS and SELECTORS[kind] not in found.model_fields:
        raise refused(f"has no key {SELECTORS[kind]}", hint="the one by which a scenario names it")
    return found


def names(kind: str) -> dict[str, list[EntryPoint]]:
    """Return what is installed of a kind, by name in order; nothing is imported."""
    found: dict[str, list[EntryPoint]] = {}
    for entry in _entry_points(_search_path())[GROUPS[kind]]:
        found.setdefault(entry.name, []).append(entry)
    return {
        name: sorted(found[name], key=owner) if len(found[name]) > 1 else found[name]
        for name in sorted(found)
    }


@cache
def _entry_points(path: tuple[tuple[str, int], ...]) -> dict[str, EntryPoints]:
    """Return what the packages on a search path offer, by group; each file is read once."""
    del path  # the key
    every = entry_points()
    return {group: every.select(group=group) for group in GROUPS.values()}


def _search_path() -> tuple[tuple[str, int], ...]:
    """Return where packages lie, each folder with its time: installing one changes it."""
    return tuple((folder, _changed_ns(folder)) for folder in sys.path)


def _changed_ns(folder: str) -> int:
    try:
        return Path(folder).stat().st_mtime_ns
    except OSError:
        return 0


def owner(entry: EntryPoint) -> str:
    """Return the distribution that offers an extension, with its version."""
    return f"{entry.dist.name} {entry.dist.version}" if entry.dist else entry.value


def installed(*, check: bool = False) -> list[Installed]:
    """Return everything that is installed, by kind and name; only `check` imports it."""
    return [
        Installed(
            kind=kind,
            name=name,
            distribution=entry.dist.name if entry.dist else "",
            version=entry.dist.version if entry.dist else "",
            object=entry.value,
            state=_state(kind, name, check=check or len(entries) > 1),
        )
        for kind in GROUPS
        for name, entries in names(kind).items()
        for entry in entries
    ]


def _state(kind: str, name: str, *, check: bool) -> str | None:
    """Return whether an extension can be used; of a name taken twice nothing is imported."""
    if not check:
        return None
    try:
        load(kind, name)
    except ExtensionError as error:
        return str(error)
    return OK
