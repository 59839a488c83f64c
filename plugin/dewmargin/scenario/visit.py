"""Visits: a scenario with what was measured on site in the place of what it says."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.contracts import Pad
from dewmargin.core.toml_file import changed
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.physics import air, moist_air_state
from dewmargin.site import commissioning
from dewmargin.site.commissioning import LEAST_RISE_K, NEEDED_FEED_RATIO, Expected
from dewmargin.site.site_file import AsMeasured, Replaced, SiteFile, placed, read_site
from dewmargin.space.plant import HeatingPlant

if TYPE_CHECKING:
    from pathlib import Path

    from dewmargin.scenario import Scenario
    from dewmargin.site.commissioning import Measured, SolvedPad

_ROOM_C = 20.0  # around a feed line at a visit, unless its scenario tells another
DIGITS = 4  # of what is put in: what is printed can be typed by hand, and gives the same


def with_visit(scenario: Scenario, site: str | Path | SiteFile) -> Scenario:
    """Return a scenario with contact, effectiveness, feed and plenum as measured at a visit.

    Parameters
    ----------
    scenario : Scenario
    site : path or SiteFile
        A site file, or what `read_site` returned.

    Raises
    ------
    InputError
        If the file is refused, names what the scenario lacks or what is no pad, or its values do
        not tell of the pad; the message names file and key.

    Notes
    -----
    Airflow and effectiveness go together, so the airflow found is put in too. The plenum is as warm
    as measured if the plant's heat warms less or more air: its airflow is put in (the trade's
    method of the temperature rise), with the balances of a bypass and its pad where there is one.
    """
    found = site if isinstance(site, SiteFile) else read_site(site)
    if scenario.site is not None:
        raise InputError(
            f"the scenario is {scenario.site.head} already",
            file=found.file,
            hint="give one visit, the last",
        )
    index, pad = _pad(scenario, found)
    measured = _in_its_place(scenario, pad, found)
    solved = commissioning.solve(measured)
    why_not = commissioning.why_not_told(solved)
    if solved is None or why_not is not None:
        told = why_not or commissioning.NOTHING_TOLD
        raise found.refused("pad", told.what, hint=told.action)
    kept: list[str] = []
    device = _device(f"equipment[{index}]", pad, measured, solved, found, kept)
    supply_index, supply = _supply(scenario, measured, found, kept)
    plant = _plant(scenario, pad, measured, solved, found, kept)
    expected = _expected(scenario, pad, measured, found)
    parts = [part for part in (device, supply, plant) if part is not None]
    return replace(
        scenario,
        equipment=_with(scenario.equipment, index, device.made(found.file)),
        supplies=scenario.supplies
        if supply is None
        else _with(scenario.supplies, supply_index, supply.made(found.file)),
        space=scenario.space if plant is None else plant.made(found.file),
        site=AsMeasured(
            site=found,
            replaced=tuple(each for part in parts for each in part.replaced),
            kept=tuple(kept),
            findings=tuple(commissioning.compare_measured(measured, expected, solved)),
            symptoms=tuple(commissioning.diagnose(measured, expected, solved)),
        ),
    )


@dataclass(kw_only=True)
class _Change:
    """A part of a scenario and what is put into it."""

    key: str
    model: Any  # an input object
    changes: dict[tuple[str, ...], Any] = field(default_factory=dict)
    replaced: list[Replaced] = field(default_factory=list)

    def put(self, key: str, new: float, why: str, *, by: tuple[str, ...] = ()) -> None:
        """Put in what differs, in the place of itself or of the keys that tell it another way."""
        *outer, last = key.split(".")
        model = self.model
        for name in outer:
            model = getattr(model, name)
        rounded = float(f"{new:.{DIGITS}g}")
        old = f"by {by[0]}" if by else f"{getattr(model, last):g}"
        if old == f"{rounded:g}":
            return
        self.replaced.append(Replaced(key=f"{self.key}.{key}", old=old, new=rounded, why=why))
        self.changes[*outer, last] = rounded
        for name in by:
            self.changes[*outer, name] = None

    def made(self, path: Path) -> Any:  # noqa: ANN401 - of the class it is changed from
        """Return the part, checked anew; `path` is the file that an error names."""
        return changed(self.model, self.changes, path, self.key)


def _with(parts: tuple[Any, ...], index: int, part: object) -> tuple[Any, ...]:
    return (*parts[:index], part, *parts[index + 1 :])


def _named(site: SiteFile, key: str, name: str, names: list[str]) -> int:
    """Return the place of a name that the file gives, or refuse it."""
    if name in names:
        return names.index(name)
    near = get_close_matches(name, names, n=1)
    hint = f"did you mean {near[0]!r}?" if near else f"one of: {', '.join(names)}"
    raise site.refused(key, f"{name!r} is not in the scenario", hint=hint)


def _pad(scenario: Scenario, site: SiteFile) -> tuple[int, Pad]:
    """Return the pad that was measured, and its place."""
    names = [each.name for each in scenario.equipment]
    index = _named(site, "pad.equipment", site.equipment, names)
    device = scenario.equipment[index]
    if not isinstance(device, Pad):
        kind = getattr(device, "kind", type(device).__name__)
        raise site.refused(
            "pad.equipment",
            f"{device.name!r} is of kind {kind!r}, which has no contact and effectiveness to "
            "measure",
            hint="name a wetted_pad",
        )
    return index, device


def _heating(scenario: Scenario) -> HeatingPlant | None:
    found = getattr(scenario.space, "heating", None)
    return found if isinstance(found, HeatingPlant) else None


def _output_kw(plant: HeatingPlant | None) -> float | None:
    """Return what the plant gives whenever it runs, if the scenario tells. [kW]."""
    return None if plant is None or plant.backup_kw > 0.0 else plant.capacity_kw


def _in_its_place(scenario: Scenario, pad: Pad, site: SiteFile) -> Measured:
    """Return what was measured, with what a bypass brings back to the pad."""
    measured = site.measured
    if pad.arrangement != "bypass":
        if measured.plant_kw is not None:
            raise site.refused("pad.plant_kw", f"{pad.name!r} is in no bypass", hint="leave it out")
        return measured
    if measured.plant_kw is not None:
        return measured
    output_kw = _output_kw(_heating(scenario))
    if output_kw is None:
        raise site.refused(
            "pad.plant_kw",
            "is missing, and the scenario does not tell what the plant gave at the visit",
            hint="take it from the plant's data, at the temperature outdoors",
        )
    try:
        return replace(measured, plant_kw=output_kw / pad.count)
    except OutOfRangeError as error:
        raise placed(error, site.file) from error


def _device(
    key: str,
    pad: Pad,
    measured: Measured,
    solved: SolvedPad,
    site: SiteFile,
    kept: list[str],
) -> _Change:
    change = _Change(key=key, model=pad)
    if solved.contact_frac is None:
        kept.append(
            f"{key}.contact_frac: feed of {measured.t_feed_c:.0f} °C, near the wet bulb, tells "
            "nothing of it"
        )
    else:
        drain = f"drain of {measured.t_drain_c:.1f} °C, wet bulb {measured.t_wet_bulb_c:.1f}"
        change.put("contact_frac", solved.contact_frac, drain)
    effectiveness = (solved.effectiveness or 0.0) / pad.wetted_frac(measured.feed_kg_h)
    if effectiveness > 1.0:
        raise site.refused(
            "pad",
            "wetted all over, by the scenario's wetting, its effectiveness would be "
            f"{effectiveness:.2f}",
            hint=f"leave {key}.wetting out",
        )
    outlet = f"{measured.evaporation_kg_h:.2f} kg/h evaporate"
    change.put("effectiveness", effectiveness, outlet, by=pad.told_by("effectiveness"))
    cooled = f"air cooled from {measured.t_in_c:.1f} to {measured.t_out_c:.1f} °C by that"
    change.put("airflow_kg_s", solved.airflow_kg_s, cooled, by=pad.told_by("airflow_kg_s"))
    if pad.feed_kg_h is not None:
        change.put("feed_kg_h", measured.feed_kg_h, "timed")
    else:
        ratio = measured.feed_kg_h / measured.evaporation_kg_h
        timed = "feed timed, less the drain"
        change.put("feed_ratio", ratio, timed, by=pad.told_by("feed_ratio"))
    return change


def _supply(
    scenario: Scenario, measured: Measured, site: SiteFile, kept: list[str]
) -> tuple[int, _Change | None]:
    """Return the supply that fed the pad, by its place, as warm as it was."""
    if site.supply is None:
        kept.append("temperatures of all supplies: the file names none")
        return 0, None
    names = [each.name for each in scenario.supplies]
    index = _named(site, "pad.supply", site.supply, names)
    supply = scenario.supplies[index]
    key = f"supplies[{index}]"
    if supply.temperature_c is None:
        kept.append(f"{key}: unheated, it goes with the seasons")
        return index, None
    change = _Change(key=key, model=supply)
    start_c = measured.t_feed_c
    if supply.line is not None:
        line = supply.line.line(_ROOM_C)
        start_c = float(line.starting_c(np.array(start_c), measured.feed_kg_h / 3600.0))
    change.put("temperature_c", start_c, f"{measured.t_feed_c:.1f} °C at the nozzle")
    return index, change


def _plant(
    scenario: Scenario,
    pad: Pad,
    measured: Measured,
    solved: SolvedPad,
    site: SiteFile,
    kept: list[str],
) -> _Change | None:
    """Return the space with the plant that makes the plenum as warm as it was."""
    plant = _heating(scenario)
    if pad.arrangement == "room" or plant is None:
        return None
    key = f"space.{scenario.space_kind}"
    if plant.airflow_l_s is None:
        kept.append(f"{key}.heating: air and heat are the run's own")
        return None
    rise_k = measured.t_in_c - measured.room_c
    to_rooms, output_kw = measured.to_rooms_kg_s, _output_kw(plant)
    if to_rooms is not None:
        airflow_kg_s = pad.count * (to_rooms + solved.airflow_kg_s)
    elif output_kw is not None and rise_k >= LEAST_RISE_K:
        cp = air.heat_capacity(measured.w_room_kg_kg)
        airflow_kg_s = 1e3 * output_kw / (cp * rise_k)
    else:
        why = "did not heat" if rise_k < LEAST_RISE_K else "gave what the scenario does not tell"
        kept.append(f"{key}.heating: at the visit the plant {why}")
        return None
    change = _Change(key=key, model=scenario.space)
    density_kg_m3 = moist_air_state.dry_air_density(
        measured.room_c, measured.w_room_kg_kg, measured.p_pa
    )
    plenum = f"plenum of {measured.t_in_c:.1f} °C, room {measured.room_c:.1f}"
    change.put("heating.airflow_l_s", 1e3 * airflow_kg_s / density_kg_m3, plenum)
    if site.measured.plant_kw is not None and output_kw is not None:
        change.put("heating.capacity_kw", pad.count * site.measured.plant_kw, "given")
    return change


def _expected(scenario: Scenario, pad: Pad, measured: Measured, site: SiteFile) -> Expected:
    """Return what the scenario says of the pad that was measured."""
    feed_kg_h = measured.feed_kg_h if pad.feed_kg_h is None else pad.feed_kg_h
    airflow_kg_s, effectiveness = pad.at_once(
        measured.t_in_c, measured.w_in_kg_kg, measured.p_pa, feed_kg_h
    )
    return Expected(
        feed_kg_h=pad.feed_kg_h,
        t_feed_c=_arriving_c(scenario, site, feed_kg_h),
        effectiveness=min(effectiveness, 1.0),
        contact_frac=pad.contact_frac,
        airflow_kg_s=airflow_kg_s,
        feed_ratio=pad.feed_ratio or NEEDED_FEED_RATIO,
        face_area_m2=pad.face_area_m2,
    )


def _arriving_c(scenario: Scenario, site: SiteFile, feed_kg_h: float) -> float | None:
    """Return how warm the feed of the supply named should arrive; None: not told. [°C]."""
    supply = next((each for each in scenario.supplies if each.name == site.supply), None)
    if supply is None or supply.temperature_c is None or supply.line is None:
        return None if supply is None else supply.temperature_c
    start_c = np.array(supply.temperature_c)
    return float(supply.line.line(_ROOM_C).arriving_c(start_c, feed_kg_h / 3600.0))
