"""What was measured at a visit: typed as options, read from a site file, kept in a new one."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from dewmargin.core.toml_file import write_new
from dewmargin.physics.air import standard_pressure
from dewmargin.site.commissioning import SYMPTOMS, Measured
from dewmargin.site.site_file import PadVisit, Visit, read_site, site_text

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path


def symptoms_document() -> dict[str, object]:
    """Return the table of symptoms for JSON."""
    keys = ("symptom", "cause", "action")
    return {"symptoms": {key: dict(zip(keys, row, strict=True)) for key, row in SYMPTOMS.items()}}


def from_site(site: Path, beside: Mapping[str, object]) -> Measured:
    """Return what a site file holds; `beside` are options that go without it."""
    twice = ", ".join(name for name, value in beside.items() if value is not None)
    if twice:
        raise click.UsageError(f"--site holds what was measured: leave {twice} out.")
    return read_site(site).measured


def from_options(
    given: Mapping[str, float | None], besides: Mapping[str, float | None]
) -> Measured:
    """Return what was typed: `given` all of it, `besides` as far as measured."""
    values = [value for value in given.values() if value is not None]
    if len(values) < len(given):
        missing = ", ".join(name for name, value in given.items() if value is None)
        raise click.UsageError(f"Not given: {missing}")
    names = ("feed_kg_h", "drain_kg_h", "t_feed_c", "t_drain_c", "t_in_c", "t_out_c")
    of_visit = dict(zip((*names, "room_c", "room_rh"), values, strict=True))
    return Measured(
        **of_visit,
        p_pa=standard_pressure(besides["--elevation"] or 0.0),
        static_pa=besides["--static"],
        valve_v=besides["--valve"],
        plant_kw=besides["--plant"],
    )


def save(
    file: Path,
    found: Measured,
    *,
    elevation_m: float,
    equipment: str | None,
    supply: str | None,
    date: dt.datetime | None,
    notes: str,
) -> None:
    """Write what was measured to a new site file."""
    if equipment is None:
        raise click.UsageError("--save needs --equipment, the pad's name in the scenario.")
    values = asdict(found)
    del values["p_pa"]
    day = (date or dt.datetime.now().astimezone()).date()
    text = site_text(
        Visit(date=day, elevation_m=elevation_m, notes=notes),
        PadVisit(equipment=equipment, supply=supply, **values),
    )
    write_new(file, text, do="keep one file a visit")
