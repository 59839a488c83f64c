"""The demo: an invented house, by the house model and by an engine run of the same house."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from dewmargin import columns
from dewmargin.core.display import shown
from dewmargin.studies.compare.option import number

if TYPE_CHECKING:
    from dewmargin.core.display import Shown
    from dewmargin.studies.compare.comparison import Comparison
    from dewmargin.studies.compare.option import Option
    from dewmargin.units import Units


def demo_folder() -> Path:
    """Return the folder that holds the demo's weather and scenarios.

    They ship inside an installed package; in a checkout they are two folders up.
    """
    package = Path(__file__).parents[1]
    installed = package / "demo_files"
    return installed if installed.exists() else package.parents[1]


def findings(house: Comparison, simulation: Comparison, units: Units = "si") -> list[str]:
    """Return in six lines what the demo found."""
    name, cold, hot = _hot_and_cold(house)
    dry = house.options[0]
    wettest = max(house.options, key=lambda o: number(o, "condensation_h"))
    low = f"{100 * house.scenario.comfort.low_rh:.0f} %"
    ratio, carbon = _shown("feed_l_per_kg", units), _shown("co2_kg", units)
    water, mass = ratio.unit.split("/")
    needs = [ratio.number(number(option, "feed_l_per_kg")) for option in (cold, hot)]
    heat = _shown("feed_heat_kwh", units).unit
    saved = 1.0 - number(hot, "feed_l_per_kg") / number(cold, "feed_l_per_kg")
    return [
        (
            f"1. Without a humidifier Larch House is below {low} in {number(dry, 'dry_h'):.0f} "
            f"heating-season hours by the house model, "
            f"{number(simulation.options[0], 'dry_h'):.0f} by EnergyPlus."
        ),
        f"2. {house.sentences(units)[0]}",
        f"3. From the simulation: {simulation.sentences(units)[0]}",
        (
            f"4. The windows decide: {wettest.strategy!r} wets a surface in "
            f"{number(wettest, 'condensation_h'):.0f} h of the year, "
            f"{number(dry, 'condensation_h'):.0f} h without humidifier."
        ),
        (
            f"5. Hot feed ({hot.supply}) needs {needs[1]} {water} for each {mass} delivered, cold "
            f"({cold.supply}) {needs[0]}: "
            f"{100 * saved:.0f} % less at the same orifice and demand ({name}), with a valve that "
            "shuts after each call; a pad fed without pause saves nothing."
        ),
        (
            f"6. The heat is much the same, {_heat(hot, units):.2f} {heat} for each {mass} with "
            f"hot feed and {_heat(cold, units):.2f} with cold: it moves from furnace to water "
            f"heater. By the demo's invented tariff the year costs {_money(house, hot)} and "
            f"{_money(house, cold)}, with {carbon.number(number(hot, 'co2_kg'))} and "
            f"{carbon.text(number(cold, 'co2_kg'))} of CO2."
        ),
    ]


def _shown(name: str, units: Units) -> Shown:
    column = next(column for column in columns.COMPARISON if column.name == name)
    return shown(column, units=units)


def _heat(option: Option, units: Units) -> float:
    """Return the heat of water heater and plant to vapour delivered. [kWh/kg or kBtu/lb]."""
    heat, given = (_shown(name, units) for name in ("feed_heat_kwh", "delivered_kg"))
    of = number(option, "feed_heat_kwh") + number(option, "makeup_heat_kwh")
    return float(heat.of(of) / given.of(number(option, "delivered_kg")))


def _money(result: Comparison, option: Option) -> str:
    tariff = result.scenario.tariff
    currency = "" if tariff is None else tariff.currency
    return f"{number(option, 'cost'):.0f} {currency}"


def _hot_and_cold(result: Comparison) -> tuple[str, Option, Option]:
    """Return the first strategy's options with the least and the most hot feed."""
    first = next(o for o in result.options if o.strategy is not None)
    same = [o for o in result.options if o.strategy == first.strategy]
    ranked = sorted(same, key=lambda o: number(o, "hot_feed_l"))
    return str(first.strategy), ranked[0], ranked[-1]
