"""Cases, small and invented, on which extensions are checked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.case import AirSystem, HeatSource, HourlyCase, Sensor, SurfaceYear
from dewmargin.contracts import FeedWater, Work
from dewmargin.physics import air, surfaces
from dewmargin.physics.water_line import WaterLine
from dewmargin.scenario import parse
from dewmargin.solve import balance
from dewmargin.studies.compare.comparison import compare_case

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray
    from dewmargin.studies.compare.comparison import Comparison

HOURS = 14 * 24
_LINE = WaterLine(length_m=6.0, bore_mm=4.0, outer_mm=6.0, ambient_c=18.0)
COOLED_ABOVE_C = 16.0
_SCENARIO = """
title = "two cold weeks (invented)"
strategies = [{ name = "hold 35 %", rule = "constant", rh = 0.35 }]
equipment = [{ name = "steam", kind = "fixed_rate", rate_kg_h = 1.0 }]
supplies = [{ name = "cold", cold_c = 8.0 }]
[space.house]
floor_area_m2 = 120
volume_m3 = 300
storeys = 1
leakage_m3_h_at_50pa = 900
bedrooms = 2
heat_loss_w_k = 150
"""


def cold_weeks() -> tuple[HourlyCase, ...]:
    """Return two invented cases of two cold weeks with a mild end, ducts and two surfaces each.

    A house by the hour, and a departure from a simulation in half hours whose humidistat hangs in a
    cooler zone; both have steps of mechanical cooling.
    """
    return _house(), _simulated()


def _house() -> HourlyCase:
    hour = np.arange(HOURS, dtype=np.float64)
    # A cold snap in the first week, 17 °C on the last afternoon.
    t_out = -8.0 - 12.0 * np.sin(hour / HOURS * 2.0 * np.pi) + 5.0 * np.sin(hour / 24.0 * 2 * np.pi)
    t_out = np.where(hour >= HOURS - 24.0, t_out + 20.0, t_out)
    t_air = 20.5 + 0.5 * np.sin(hour / 24.0 * 2.0 * np.pi)
    p = np.full(HOURS, 95_000.0)
    cooling = t_out > COOLED_ABOVE_C

    def face(name: str, index: float, area_m2: float | None) -> SurfaceYear:
        t_c = surfaces.surface_temperature(t_air, t_out, temperature_index=index)
        return SurfaceYear(name=name, t_surface_c=t_c, area_m2=area_m2)

    return HourlyCase(
        title="two cold weeks in an invented house",
        departure=False,
        interval_start=np.datetime64("2017-01-09T00:00:00", "s")
        + np.arange(HOURS) * np.timedelta64(3600, "s"),
        t_out_c=t_out,
        w_out_kg_kg=air.humidity_ratio_at_rh(t_out, np.full(HOURS, 0.8), p),
        p_pa=p,
        t_air_c=t_air,
        exchange_kg_s=0.03 + 0.0005 * (t_air - t_out),
        w_base_kg_kg=np.zeros(HOURS),
        gains_kg_s=np.full(HOURS, 0.3 / 3600.0),
        heating_w=np.maximum(150.0 * (t_air - t_out), 0.0),
        cooling=cooling,
        dry_air_kg=350.0,
        buffer_kg_s=0.05,
        buffer_kg=3_000.0,
        buffer_on_rh=True,
        wraps=False,
        surfaces=(face("glass", 0.63, 10.0), face("frame", 0.5, None)),
        air_system=AirSystem(
            heat_frac=np.where(cooling, 0.0, np.clip((20.0 - t_out) / 50.0, 0.0, 1.0)),
            t_supply_c=np.full(HOURS, 45.0),
            airflow_kg_s=0.4,
            blower_w=300.0,
        ),
        heat_source=HeatSource(carrier="gas", energy_per_heat=np.full(HOURS, 1.1)),
        wind_m_s=np.full(HOURS, 3.0),
        t_sky_c=t_out - 15.0,
    )


def _simulated() -> HourlyCase:
    """Return the house as a simulation would report it: with its own humidity, in half hours."""
    house, n = _house(), 2 * HOURS

    def halves(values: FloatArray) -> FloatArray:
        return np.repeat(values, 2)

    ducts = house.air_system
    assert ducts is not None  # noqa: S101 - made above
    return HourlyCase(
        title="two cold weeks of an invented simulation",
        departure=True,
        interval_start=house.interval_start[0] + np.arange(n) * np.timedelta64(1800, "s"),
        t_out_c=halves(house.t_out_c),
        w_out_kg_kg=halves(house.w_out_kg_kg),
        p_pa=halves(house.p_pa),
        t_air_c=halves(house.t_air_c),
        exchange_kg_s=halves(house.exchange_kg_s),
        w_base_kg_kg=halves(balance.baseline(house).w_kg_kg),
        gains_kg_s=halves(house.gains_kg_s),
        heating_w=halves(house.heating_w),
        cooling=np.repeat(house.cooling, 2),
        dry_air_kg=house.dry_air_kg,
        wraps=False,
        humidity_reading="relative_humidity",
        surfaces=tuple(
            replace(face, t_surface_c=halves(face.t_surface_c)) for face in house.surfaces
        ),
        sensor=Sensor(t_air_c=halves(house.t_air_c) - 1.0, w_offset_kg_kg=np.full(n, 2e-4)),
        air_system=AirSystem(
            heat_frac=halves(ducts.heat_frac),
            t_supply_c=halves(ducts.t_supply_c),
            airflow_kg_s=halves(np.asarray(ducts.airflow_kg_s)),
            blower_frac=np.ones(n),
        ),
        steps_per_hour=2,
    )


def feeds(n: int) -> tuple[FeedWater, ...]:
    """Return cold feed, and hot feed at the start of a line, for `n` steps."""
    cold_c = np.full(n, 8.0)
    return (
        FeedWater(name="cold", t_cold_c=cold_c, t_start_c=cold_c),
        FeedWater(
            name="hot",
            t_cold_c=cold_c,
            t_start_c=np.full(n, 50.0),
            heater=HeatSource(carrier="gas", energy_per_heat=np.full(n, 1.2)),
            line=_LINE,
        ),
    )


def works() -> tuple[Work, ...]:
    """Return a unit at work on cold feed in a room, and on hot feed in the plenum of a plant."""
    room = Work(
        feed_kg_h=2.0,
        evaporation_kg_h=1.5,
        t_feed_c=8.0,
        t_in_c=20.5,
        w_kg_kg=0.005,
        p_pa=95_000.0,
        t_room_c=20.5,
    )
    plenum = replace(
        room, t_feed_c=47.0, t_in_c=45.0, airflow_kg_s=0.4, heated=True, hot_line=_LINE
    )
    return room, plenum


def small_results() -> Comparison:
    """Return the comparison of one option in the house of `cold_weeks`."""
    scenario = parse(_SCENARIO.encode("utf-8"), Path("invented.toml"))
    return compare_case(scenario, None, _house())
