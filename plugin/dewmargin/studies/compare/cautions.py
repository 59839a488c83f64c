"""Cautions of a comparison: what a reader must know beside its numbers."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.physics.assembly import RUNOFF_G_M2
from dewmargin.solve import balance

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dewmargin.case import HourlyCase
    from dewmargin.physics.assembly import Assembly
    from dewmargin.scenario import Scenario
    from dewmargin.site.site_file import AsMeasured
    from dewmargin.studies.compare.option import Option
    from dewmargin.studies.compare.quality import RunQuality
    from dewmargin.studies.options.held import Held
    from dewmargin.weather.epw import Weather

# What else the columns of a weather file may mean below 0 °C.
_OTHER = {
    "frost_point": "dew_point",
    "dew_point": "frost_point",
    "relative_humidity": "frost_point",
}
_IN_WORDS = {
    "frost_point": "the dew-point column taken as over ice",
    "dew_point": "the dew-point column taken as over water",
}
LATE_S = 60.0  # the other end of what a firing may take before it gives vapour: our own choice
ANOTHER_HEIGHT_PA = 2000.0  # between a year's mean and the standard atmosphere: about 170 m; ours


def warnings_of(
    scenario: Scenario,
    case: HourlyCase,
    options: Sequence[Option],
    quality: RunQuality | None,
    chosen: Option | None,
    *,
    weather: Weather | None,
    held: Sequence[Held],
    late: Option | None,
) -> list[str]:
    """Return what to know of a visit, of the case and its devices, and of the assembly.

    `late` is what is chosen if firings gave vapour at their other end, see `firings_end`.
    """
    asked = next((h for h in held if chosen and h.strategy.name == chosen.strategy), held[0])
    return [
        *_of_site(scenario.site, case),
        *_of_reading(case, weather, asked),
        *_of_case(case, options, quality),
        *_of_firings(case, chosen, late),
        *_of_assembly(scenario.assembly, options[0], chosen),
    ]


def _of_assembly(assembly: Assembly | None, dry: Option, chosen: Option | None) -> list[str]:
    """Return what the screening says of the option chosen, or without one, and its limits."""
    option = chosen or dry
    if assembly is None or option.wall is None or dry.wall is None:
        return []
    found = option.wall
    inside = "nothing condenses inside by diffusion"
    if found.wettest is not None:
        most = float(found.held_g_m2[found.wettest].max())
        inside = (
            f"up to {most:.0f} g/m2 of water at '{found.planes.names[found.wettest]}' "
            f"({float(dry.wall.held_g_m2.max()):.0f} without humidifier)"
        )
        if most > RUNOFF_G_M2:
            inside += f", more than the {RUNOFF_G_M2:.0f} that stay without running off"
        inside += (
            ", which do not dry within the year: do not humidify it so"
            if found.stays_wet
            else ", dry again within the year"
        )
    return [
        (
            f"{assembly.name}, {option.name}: {inside}; room air that leaks out through it would "
            f"condense in {found.leak_condensation_h:.0f} h ({dry.wall.leak_condensation_h:.0f} "
            "without): close leaks before humidifying"
        ),
        (
            "the screening of the assembly is monthly and by diffusion alone (ISO 13788): air that "
            "leaks, rain, wicking, storage and sun are left out; it proves no wall sound"
        ),
    ]


def _of_case(case: HourlyCase, options: Sequence[Option], quality: RunQuality | None) -> list[str]:
    """Return what a reader must know; of the strategies, the first tells of the equipment."""
    first = options[1].strategy
    cautions = [note for option in options if option.strategy == first for note in option.notes]
    lacking = dict.fromkeys(what for option in options for what in option.lacking)
    warnings = [*case.notes, *dict.fromkeys(cautions)]
    if lacking:
        warnings.append(f"cost or carbon are not known for all options: {', '.join(lacking)}")
    if case.air_system is not None:
        full_h = np.count_nonzero(case.air_system.heat_frac >= 1.0) / case.steps_per_hour
        if full_h > 0:
            warnings.append(f"the heating plant runs without pause in {full_h:.0f} h")
    if quality is not None and quality.missing_flow:
        warnings.append(
            "quality flag: the run's own flows do not explain its humidity "
            f"(RMSE {1000 * quality.w_rmse_kg_kg:.2f} g/kg in the heating season, demand "
            f"{quality.gap} apart): an air flow such as mixing, heat "
            "recovery or open windows was not reported"
        )
    return warnings


def firings_end(case: HourlyCase) -> HourlyCase | None:
    """Return the case at the other end of its plant's dead time; None if nothing fires."""
    system = case.air_system
    if system is None or not system.most_cycles_per_h > 0.0:
        return None
    other = 0.0 if system.dead_time_s > 0.0 else LATE_S
    return replace(case, air_system=replace(system, dead_time_s=other))


def _of_firings(case: HourlyCase, chosen: Option | None, late: Option | None) -> list[str]:
    """Return what a firing's start takes from the option chosen, as both ends of its results."""
    if chosen is None or late is None or case.air_system is None:
        return []
    (kg, dry_h), (other_kg, other_dry_h) = (
        (option.row["delivered_kg"] or 0.0, option.row["dry_h"] or 0.0) for option in (chosen, late)
    )
    if abs(kg - other_kg) < 0.001 * kg:
        return []
    dead_s = case.air_system.dead_time_s
    start = f"each firing gives vapour at once (dead_time_s = 0); if it took {LATE_S:g} s for it"
    if dead_s > 0.0:
        start = f"each firing loses {dead_s:g} s (dead_time_s); if it lost none"
    return [
        (
            f"{start}, {chosen.name!r} would give {other_kg:.0f} kg instead of {kg:.0f}, with "
            f"{other_dry_h:.0f} dry h instead of {dry_h:.0f}"
        )
    ]


def _of_reading(case: HourlyCase, weather: Weather | None, held: Held) -> list[str]:
    """Return what the other reading of outdoor humidity would change, by the year solved again.

    Nothing where outdoor humidity is not the weather's, or does not act, as in a departure from a
    run. The air's heat capacity and density stay those of the reading chosen: below 0.1 %.
    """
    name = _OTHER.get(case.humidity_reading)
    if weather is None or name is None or case.departure:
        return []
    w_out = weather.outdoors(case.humidity_reading).w_out_kg_kg
    other = weather.outdoors(name).w_out_kg_kg
    cold = case.t_out_c < 0.0
    if not cold.any() or not np.array_equal(w_out, case.w_out_kg_kg):
        return []
    asked = balance.Asked(rh_set_frac=held.rh_set, capability=None, wet=held.wet)
    (again,) = balance.deliver_all(replace(case, w_out_kg_kg=other), [asked])
    demand_kg = float(held.demand.added_kg.sum())
    change_kg = float(again.added_kg.sum()) - demand_kg
    share = 100.0 * (float(other[cold].mean() / w_out[cold].mean()) - 1.0)
    per_cent = f" ({100.0 * abs(change_kg) / demand_kg:.1f} %)" if demand_kg > 0.0 else ""
    told = (
        f'outdoor humidity: {_IN_WORDS[name]} (humidity_reading = "{name}") would make outdoor air '
        f"{abs(share):.0f} % {'more' if share > 0.0 else 'less'} humid in the "
        f"{np.count_nonzero(cold) / case.steps_per_hour:.0f} h below 0 °C, and the demand of "
        f"{held.strategy.name!r} {abs(change_kg):.0f} kg{per_cent} "
        f"{'more' if change_kg > 0.0 else 'less'}"
    )
    return [told]


def _of_site(site: AsMeasured | None, case: HourlyCase) -> list[str]:
    """Return that inputs are as measured, and whether the visit was at another height."""
    if site is None:
        return []
    keys = ", ".join(each.key for each in site.replaced)
    notes = [f"{site.head}: {keys}"]
    visit_pa, year_pa = site.site.measured.p_pa, float(case.p_pa.mean())
    if abs(visit_pa - year_pa) > ANOTHER_HEIGHT_PA:
        notes.append(
            f"the visit's elevation_m of {site.site.visit.elevation_m:g} m means "
            f"{1e-3 * visit_pa:.1f} kPa, the weather has {1e-3 * year_pa:.1f}: is it right?"
        )
    return notes
