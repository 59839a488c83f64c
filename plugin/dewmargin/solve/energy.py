r"""Energy of humidifying: heat for feed and room, electricity, fuel, money and carbon.

Two accounts are kept apart. *Heat* is what water and room receive: always known where the physics
is. *Energy bought* is what heater and plant take for it, and known only as far as their efficiency
and carrier are given; money and carbon need a tariff besides. What is not known is NaN or None,
never 0.

For each kilogram of vapour, whatever the temperature of the feed:

.. math::
    q_{room} + q_{heater} = h_g(T_{room}) - c_w T_{cold} + \frac{D}{E} c_w (T_d - T_{cold})
    + q_{line}

so that hot feed moves heat from the room to the water heater and saves none, but for what drains
warmer or colder (D, T_d) and what the line loses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.case import HeatSource, HourlyCase
    from dewmargin.columns import BoolArray, FloatArray
    from dewmargin.solve.balance import Outcome
    from dewmargin.space.tariff import Tariff

J_PER_KWH = 3.6e6
L_PER_M3 = 1000.0
# Of a room's departure in temperature; 48 h are 10 kWh/K losing 210 W/K, a house (from memory).
KEPT_IN_AN_HOUR = math.exp(-1.0 / 48.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Energy:
    """Heat and energy of an option, hour by hour; NaN is not known. [kWh].

    Attributes
    ----------
    feed_heat_kwh : float64 array, shape (n_hours,)
        Heat that the water heater put into the feed.
    makeup_heat_kwh : float64 array, shape (n_hours,)
        Heat that the plant supplies beyond what it would without humidifier; below 0 it saves.
    water_heating_kwh, space_heating_kwh : float64 array, shape (n_hours,)
        Energy bought for these.
    fan_kwh, device_kwh : float64 array, shape (n_hours,)
        Electricity of fans run for it, and of the device.
    fuel_kwh : float64 array, shape (n_hours,)
        Fuel of the device.
    """

    feed_heat_kwh: FloatArray
    makeup_heat_kwh: FloatArray
    water_heating_kwh: FloatArray
    space_heating_kwh: FloatArray
    fan_kwh: FloatArray
    device_kwh: FloatArray
    fuel_kwh: FloatArray

    def year(self) -> dict[str, float]:
        """Return the sums over all hours, by name; NaN is not known. [kWh]."""
        return {f.name: float(getattr(self, f.name).sum()) for f in fields(self)}


def energy_hours(case: HourlyCase, outcome: Outcome, *, water_heater: HeatSource | None) -> Energy:
    r"""Return what an option takes, hour by hour.

    .. math::
        \Delta Q = \max(Q + D, 0) - Q, \qquad
        D = q_{room} - P_{fan} + D_{before}\,e^{-1\,h/\tau}

    in hours in which the plant heats, Q being its heat. While it rests and the room floats between
    its set-points, what evaporates cools the room: that is owed, and made up when the plant heats
    again, less what the cooler room loses the less until then. So is what steam brings beyond the
    plant's heat. Mechanical cooling ends what is owed: it removes the less. The fan's electricity
    stays in the air as heat.

    Parameters
    ----------
    case : HourlyCase
    outcome : Outcome
        Of an equipment on a supply.
    water_heater : HeatSource or None
        What heating the feed takes; None is not known.

    Notes
    -----
    *Validity.* The plant has heat to spare. The room's time constant is not known: 48 h, which is
    7 % too much for a room of 24 h that floats for half of each day, 4 % too little for one of 96 h
    (tested), and less than that where the plant rests less.

    *Source.* First law of a room of one heat capacity, for the departure of its temperature from
    that without a humidifier.
    """
    heat_j = 3600.0 * case.hourly_mean(case.heating_w)
    need_j = outcome.space_heat_j - np.nan_to_num(outcome.fan_j)
    cools: BoolArray = case.hourly_mean(case.cooling) > 0.0
    makeup_j = _made_up(heat_j, need_j, cools)
    return Energy(
        feed_heat_kwh=outcome.feed_heat_j / J_PER_KWH,
        makeup_heat_kwh=makeup_j / J_PER_KWH,
        water_heating_kwh=_bought(outcome.feed_heat_j, water_heater, case) / J_PER_KWH,
        space_heating_kwh=_bought(makeup_j, case.heat_source, case) / J_PER_KWH,
        fan_kwh=outcome.fan_j / J_PER_KWH,
        device_kwh=outcome.device_j / J_PER_KWH,
        fuel_kwh=outcome.fuel_j / J_PER_KWH,
    )


def _made_up(heat_j: FloatArray, need_j: FloatArray, cools: BoolArray) -> FloatArray:
    """Return what the plant gives more in each hour, shape (n_hours,); below 0 it saves. [J]."""
    made_j, owed_j = np.zeros_like(heat_j), 0.0
    hours = zip(heat_j.tolist(), need_j.tolist(), cools.tolist(), strict=True)
    for i, (heat, need, cooled) in enumerate(hours):
        owed_j = need + owed_j * KEPT_IN_AN_HOUR
        if heat > 0.0:
            made_j[i] = max(heat + owed_j, 0.0) - heat
            owed_j -= made_j[i]
        elif cooled:
            owed_j = 0.0
    return made_j


def _bought(heat_j: FloatArray, source: HeatSource | None, case: HourlyCase) -> FloatArray:
    per_heat: FloatArray | float = np.nan
    if source is not None:
        per_heat = case.hourly_mean(source.energy_per_heat)
    return np.where(heat_j == 0.0, 0.0, heat_j * per_heat)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """What an option costs in the record, and its carbon; None is not known, `lacking` says why."""

    cost: float | None
    co2_kg: float | None
    lacking: tuple[str, ...]


def bill(
    kwh: Mapping[str, float],
    *,
    feed_kg: float,
    added_kg: float,
    tariff: Tariff | None,
    heater_carrier: str | None,
    plant_carrier: str | None,
) -> Bill:
    """Price an option's year.

    Parameters
    ----------
    kwh : mapping of str to float
        Energy bought, by the names of `Energy`; NaN is not known. [kWh]
    feed_kg, added_kg : float
        Water fed, and what of it became vapour. [kg]
    tariff : Tariff or None
        Without one nothing is known, and nothing is lacking.
    heater_carrier, plant_carrier : str or None
        What water heater and heating plant buy; None is not known.

    Notes
    -----
    A device's own fuel is gas. Waste water is billed by the supply or by the drain, as the tariff
    says; without a price of its own it costs nothing.
    """
    if tariff is None:
        return Bill(cost=None, co2_kg=None, lacking=())
    bought, lacking = _by_carrier(kwh, heater_carrier, plant_carrier)
    known = not lacking
    prices = {carrier: tariff.price(carrier) for carrier in bought}
    carbons = {carrier: tariff.carbon(carrier) for carrier in bought}
    for what, found in (("price", prices), ("carbon", carbons)):
        lacking += [f"the {what} of {c.replace('_', ' ')}" for c, v in found.items() if v is None]
    cost = _total(bought, prices) if known else None
    co2_kg = _total(bought, carbons) if known else None
    if tariff.water_per_m3 is None:
        lacking.append("the price of water")
        cost = None
    elif cost is not None:
        fed_m3 = feed_kg / L_PER_M3
        drained_m3 = fed_m3 - added_kg / L_PER_M3
        waste_m3 = fed_m3 if tariff.sewer_counts == "supply" else drained_m3
        cost += tariff.water_per_m3 * fed_m3 + (tariff.sewer_per_m3 or 0.0) * waste_m3
    return Bill(cost=cost, co2_kg=co2_kg, lacking=tuple(lacking))


def _by_carrier(
    kwh: Mapping[str, float], heater_carrier: str | None, plant_carrier: str | None
) -> tuple[dict[str, float], list[str]]:
    """Return the energy bought of each carrier [kWh], and what of it is not known."""
    lacking: list[str] = []
    bought: dict[str, float] = {}
    for what, name, carrier in (
        ("the fans", "fan_kwh", "electricity"),
        ("the device", "device_kwh", "electricity"),
        ("the device's fuel", "fuel_kwh", "gas"),
        ("heating the feed", "water_heating_kwh", heater_carrier),
        ("heating the room", "space_heating_kwh", plant_carrier),
    ):
        total = kwh[name]
        if math.isnan(total):
            lacking.append(f"the energy of {what}")
        elif total != 0.0 and carrier is not None:
            bought[carrier] = bought.get(carrier, 0.0) + total
    return bought, lacking


def _total(bought: dict[str, float], each: dict[str, float | None]) -> float | None:
    """Return the sum of amounts times a value each, or None if one has none."""
    total = 0.0
    for carrier, kwh in bought.items():
        value = each[carrier]
        if value is None:
            return None
        total += value * kwh
    return total
