"""What is known of any device on site: how many, on which call, and what it says itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dewmargin.contracts import OnSite, SiteAnswer

if TYPE_CHECKING:
    from dewmargin.contracts import Equipment, Words, Work

RUNS = {
    "always": "when the air is too dry",
    "heating": "when the air is too dry, but only while the plant heats",
    "blower": "when the air is too dry, while the blower runs anyway",
    "humidity": "when the air is too dry, and starts the blower for it",
}
OF_ALL = {"rh_low", "feed_low", "never_hot", "chatter"}  # symptoms that any device may show


def call_of(equipment: Equipment) -> str:
    """Return when it may run, a key of `RUNS`; a device without such a key always may."""
    told = getattr(equipment, "call", None)
    return told if isinstance(told, str) and told in RUNS else "always"


def in_ducts(equipment: Equipment) -> bool:
    """Tell whether it sits in the ducts of a plant."""
    return call_of(equipment) != "always"


def units_alike(equipment: Equipment) -> int:
    """Return how many units it has."""
    told = getattr(equipment, "count", None)
    return told if isinstance(told, int) else 1


def answer_of(equipment: Equipment, work: Work | None, words: Words) -> SiteAnswer:
    """Return what a device says for the site; of one that says nothing it is empty."""
    if isinstance(equipment, OnSite):
        return equipment.on_site(work, words)
    return SiteAnswer()
