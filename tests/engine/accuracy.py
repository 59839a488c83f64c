"""How near the engine: every house in every climate, as a table in Markdown.

    PYTHONPATH=tests python -m engine.accuracy

`README.md` beside this file holds the table of hourly results, and what misses the goals.

Our demand and condensation come from a run without humidifier; the engine's from a run of the same
house in which it holds 40 % itself. Both hold it also in hours of mechanical cooling, whose coil
takes the water out again; those hours are left out of the comparison, in either run, since a run
without humidifier cannot show what the coil would have taken.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.physics import air
from dewmargin.solve import balance
from dewmargin.space.simulation import Simulation
from engine import houses

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.case import HourlyCase
    from dewmargin.solve.balance import Outcome

# Goals: annual demand within 1.5 %, 3 % with latent recovery or several mixing zones; r above 0.98,
# above 0.998 from results of every ten minutes; window-hours within 3 % above 1000 and 15 % above
# 300, with the engine's own humidity. Where they are missed, and why:
#
# Demand in Golden, houses with a moisture capacity of 4: -2.1 % (Spruce), -2.6 % (Rowan), and most
# where least is needed, -5.2 % (Maple). On sunny mornings the room, and with it the humidity to
# hold, rises until cooling starts; hour means book a part of it into the hour of cooling, which is
# left out: in Maple House -56 of -87 kg lie within two hours of cooling. With the cooling hours
# these years are within 0.5 %, from results of every ten minutes within 1 % without them.
#
# r of hourly results in Maple House, 0.979 (Golden) and 0.978 (Dulles): 80 % of the squared error
# are in the hour in which windows are opened and in the next, where hour means hide how fast the
# room dries and recovers. From ten-minute results r is 0.997 and more.
#
# r below 0.998 from ten minutes, houses with that capacity: the engine does not hold 40 % exactly
# (1st and 99th percentile of its RH while it humidifies: 38.6 to 41.3 % in Maple House, Dulles),
# and the capacity multiplies what that takes. With this water taken out of the engine's demand, r
# of the holding hours rises from 0.9965 to 0.9993 (Spruce, Chicago), 0.9952 to 0.9989 (Maple,
# Dulles). Where zones mix (Birch, Hazel, Fern) the neighbours' own storage, which is left out, has
# a part in it that was not measured apart. Furnaces, 0.991 to 0.997: the steam humidifier
# overshoots too (99th percentile 43.9 %, mean 40.2 %), within steps shorter than those reported, so
# that there it cannot be taken out; it may also be why the engine uses up to 2 % more than we do.
#
# Window-hours: the engine flags a step by the humidity of the step before. Hour means miss faces
# that are wet for a part of the hour, most in houses with short pulses of moisture (dividers of
# Cedar House in Golden -5.2 %, frames of Alder House in Dulles -10.7 % of 723 h, while 670 hours
# were wet in part). From ten-minute values with that lag these counts are met within 0.5 %.
RH_SET = 0.40
# Of the humidifier's volume: EnergyPlus 25.2, Humidifiers, water at the initial temperature of
# 5.05 °C by its own RhoH2O; checked against the air's gain at the humidifier's nodes.
STEAM_WATER_KG_M3 = 1000.0
PARTS = {
    "glass": ("Glazing", "Surface Inside Face Temperature"),
    "frame": ("Frame", "Surface Window Frame Inside Temperature"),
    "divider": ("Divider", "Surface Window Divider Inside Temperature"),
}
CHICAGO, GOLDEN, DULLES = "USA_IL_Chicago", "USA_CO_Golden", "USA_VA_Sterling"
CLIMATES = {CHICAGO: "Chicago", GOLDEN: "Golden, 1829 m", DULLES: "Dulles"}
BY_IDEAL_LOADS, LIVING_ROOMS, BY_OWN_UNIT, BY_STEAM = (
    "held at 40 %",
    "living rooms held at 40 %",
    "held at 40 % by a unit of their own",
    "steam at 40 %",
)
# House: the zone, and the variant that the engine humidifies.
HELD = {
    "cedar_house": ("CEDAR", BY_IDEAL_LOADS),
    "spruce_house": ("LIVING", BY_IDEAL_LOADS),
    "alder_house": ("CEDAR", BY_STEAM),
    "aspen_house": ("CEDAR", BY_STEAM),
    "rowan_house": ("LIVING", BY_IDEAL_LOADS),
    "linden_house": ("LIVING", BY_OWN_UNIT),
    "birch_house": ("LIVING", LIVING_ROOMS),
    "hazel_house": ("LIVING", LIVING_ROOMS),
    "fern_house": ("LIVING", LIVING_ROOMS),
    "maple_house": ("LIVING", LIVING_ROOMS),
    "poplar_house": ("CEDAR", BY_IDEAL_LOADS),
    "willow_house": ("CEDAR", BY_IDEAL_LOADS),
}


@dataclass(frozen=True)
class Pair:
    """A free run as our case, the engine's humidified run, and the hours to compare.

    `wet_h` is by part: the engine's window-hours, ours with its humidity, ours with our own.
    """

    case: HourlyCase
    ours: Outcome
    engine_kg: np.ndarray
    compared: np.ndarray
    wet_h: dict[str, tuple[float, ...]]

    @property
    def demand_kg(self) -> tuple[float, float]:
        """Return our demand and the engine's, of the hours compared."""
        return tuple(
            float(np.sum(kg[self.compared])) for kg in (self.ours.added_kg, self.engine_kg)
        )

    @property
    def rmse_kg_h(self) -> float:
        gap = (self.ours.added_kg - self.engine_kg)[self.compared]
        return float(np.sqrt(np.mean(gap**2)))

    @property
    def correlation(self) -> float:
        return float(
            np.corrcoef(self.ours.added_kg[self.compared], self.engine_kg[self.compared])[0, 1]
        )


def pair(
    run: Callable[[str, str, str], Path], house: str, weather: str, free: str = "free"
) -> Pair:
    """Run a house without and with the engine's humidifier, and compare."""
    zone, variant = HELD[house]
    dry, held = run(house, free, weather), run(house, variant, weather)
    keys = {"results": "eplusout.sql", "zones": [zone]}
    case = Simulation(**keys, humidify_while_cooling=True).case(weather=None, folder=dry)
    humid = Simulation(**keys, baseline="humidified").case(weather=None, folder=held)
    ours = balance.demand(case, np.full(case.n_steps, RH_SET))
    w = houses.series(held, "Zone Mean Air Humidity Ratio")[zone]
    cooled = case.cooling.reshape(case.n_hours, -1).any(axis=1) | humid.cooling
    return Pair(
        case=case,
        ours=ours,
        engine_kg=engine_kg(held, zone, variant),
        compared=~cooled,
        wet_h=_wet_hours(held, case, ours, w, ~cooled),
    )


def engine_kg(held: Path, zone: str, variant: str) -> np.ndarray:
    """Return what the engine's humidifier added to a zone, hour by hour. [kg]."""
    if variant == BY_STEAM:
        volume = houses.series(held, "Humidifier Water Volume Flow Rate")["STEAM"]
        return 3600.0 * STEAM_WATER_KG_M3 * volume
    # The engine's vapour: latent heat by the enthalpy of vapour at the supply temperature
    # (EnergyPlus, PsyHgAirFnWTdb); dividing by 2.5e6 J/kg would give 3 % more.
    latent_j = houses.series(held, "Zone Ideal Loads Supply Air Latent Heating Energy")
    t_supply = houses.series(held, "Zone Ideal Loads Supply Air Temperature")
    unit = f"{zone} {'HUMIDIFIER' if variant == BY_OWN_UNIT else 'IDEAL'}"
    return latent_j[unit] / (2_500_940.0 + 1_858.95 * t_supply[unit])


def _wet_hours(
    held: Path, case: HourlyCase, ours: Outcome, w_engine: np.ndarray, compared: np.ndarray
) -> dict[str, tuple[float, ...]]:
    """Count window-hours. The engine's flag is a fraction of the hour: summing it gives hours."""
    hours = {}

    def hourly(values: np.ndarray) -> np.ndarray:
        return values.reshape(case.n_hours, -1).mean(axis=1)

    p_pa = hourly(case.p_pa)
    for part, (word, variable) in PARTS.items():
        status = houses.series(held, f"Surface Window Inside Face {word} Condensation Status")
        t_held = houses.series(held, variable)
        counted = np.zeros(3)
        for name, face in case.simulated_surfaces.items():
            if name.endswith(f" {part}"):
                window = name.removesuffix(f" {part}")
                w_free = air.saturated_humidity_ratio(hourly(face.t_surface_c), p_pa)
                wet = (
                    status[window],
                    w_engine > air.saturated_humidity_ratio(t_held[window], p_pa),
                    ours.w_kg_kg > w_free,
                )
                counted += [float(np.sum(hours_wet[compared])) for hours_wet in wet]
        hours[part] = tuple(counted)
    return hours


COLUMNS = (
    "house | climate | engine kg | error % | cooling hours too | RMSE kg/h | r | "
    "glass h: engine, its W, ours | frame h | divider h"
)


def row(house: str, weather: str, found: Pair) -> str:
    """Return a line of the table."""
    ours, engine = found.demand_kg
    wet = [
        f"{hours[0]:.0f}, {_percent(hours[1], hours[0])}, {_percent(hours[2], hours[0])}"
        if hours[0] > 0.0
        else "none"
        for hours in found.wet_h.values()
    ]
    cells = [
        house.replace("_", " ").title(),
        CLIMATES[weather],
        f"{engine:.0f}",
        f"{100.0 * (ours / engine - 1.0):+.1f}",
        f"{100.0 * (found.ours.added_kg.sum() / found.engine_kg.sum() - 1.0):+.1f}",
        f"{found.rmse_kg_h:.3f}",
        f"{found.correlation:.4f}",
        *wet,
    ]
    return f"| {' | '.join(cells)} |"


def _percent(value: float, of: float) -> str:
    return f"{100.0 * (value / of - 1.0):+.1f} %"


def main() -> None:
    """Print the table: hourly results, then results of every ten minutes."""
    with TemporaryDirectory() as work:
        done: dict[tuple[str, str, str], Path] = {}

        def run(house: str, variant: str, weather: str) -> Path:
            key = (house, variant, weather)
            if key not in done:
                folder = Path(work) / str(len(done))
                folder.mkdir()
                (epw,) = houses.weather_files().glob(f"{weather}*.epw")
                done[key] = houses.simulate(house, variant, epw, folder)
            return done[key]

        for title, free in (
            ("Hourly results", "free"),
            ("Results of every ten minutes", "free, every ten minutes"),
        ):
            sys.stdout.write(f"\n{title}\n\n| {COLUMNS} |\n{'|---' * 10}|\n")
            for house in HELD:
                for weather in CLIMATES:
                    sys.stdout.write(row(house, weather, pair(run, house, weather, free)) + "\n")


if __name__ == "__main__":
    main()
