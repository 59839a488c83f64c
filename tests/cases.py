"""A small made-up case: a cold room with two window surfaces."""

from __future__ import annotations

import numpy as np

from dewmargin.case import AirSystem, HeldZone, HourlyCase, SurfaceYear
from dewmargin.physics import air, surfaces
from dewmargin.solve.balance import Outcome
from dewmargin.solve.cases import State


def small_case(n: int = 48, **changes: object) -> HourlyCase:
    """Return `n` cold hours of an invented house; name what differs."""
    hour = np.arange(n)
    t_out = -10.0 + 5.0 * np.sin(hour / 24.0 * 2.0 * np.pi) - 0.05 * hour
    t_air = np.full(n, 21.0)
    p = np.full(n, 95_000.0)

    def face(name: str, index: float, area_m2: float | None) -> SurfaceYear:
        t_c = surfaces.surface_temperature(t_air, t_out, temperature_index=index)
        return SurfaceYear(name=name, t_surface_c=t_c, area_m2=area_m2)

    values: dict[str, object] = {
        "title": "small invented room",
        "departure": False,
        "interval_start": np.datetime64("2017-01-10T00:00:00", "s")
        + hour * np.timedelta64(3600, "s"),
        "t_out_c": t_out,
        "w_out_kg_kg": air.humidity_ratio_at_rh(t_out, np.full(n, 0.8), p),
        "p_pa": p,
        "t_air_c": t_air,
        "exchange_kg_s": np.full(n, 0.04),
        "w_base_kg_kg": np.zeros(n),
        "gains_kg_s": np.full(n, 0.3 / 3600.0),
        "heating_w": np.full(n, 6_000.0),
        "cooling": np.zeros(n, bool),
        "dry_air_kg": 500.0,
        "wraps": False,
        "surfaces": (face("centre", 0.65, 10.0), face("edge", 0.5, None)),
        "air_system": AirSystem(
            heat_frac=np.full(n, 0.4), t_supply_c=np.full(n, 45.0), airflow_kg_s=0.5
        ),
    }
    return HourlyCase(**(values | changes))


def held_zone(case: HourlyCase) -> HeldZone:
    """Return a zone beside a case's space that a humidifier of its own holds."""
    n = case.n_steps
    return HeldZone(
        name="cellar",
        t_air_c=case.t_air_c,
        w_base_kg_kg=np.full(n, 0.004),
        dry_air_kg=200.0,
        exchange_kg_s=np.full(n, 0.02),
        given_kg_s=np.full(n, 0.01),
        received_kg_s=np.full((2, n), 0.01),
    )


def outcome(case, rh: np.ndarray, **changes: np.ndarray) -> Outcome:
    """Return an outcome that held this relative humidity, all else zero; name what differs."""
    zero, dry = np.zeros(case.n_hours), np.zeros((len(case.surfaces), case.n_hours))
    w = air.humidity_ratio_at_rh(case.t_air_c, rh, case.p_pa)
    values = {
        "w_kg_kg": w, "w_end_kg_kg": w, "added_kg": zero, "feed_kg": zero, "hot_feed_kg": zero,
        "running_frac": zero, "taken_kg_m2": dry, "runoff_kg_m2": dry, "film_kg_m2": dry,
        "condensed_kg": dry, "dried_kg": dry, "fog_kg": zero, "balance_error_kg": zero,
        "feed_heat_j": zero, "space_heat_j": zero, "line_j": zero, "fan_j": zero,
        "device_j": zero, "fuel_j": zero,
    }  # fmt: skip
    return Outcome(**(values | changes), end=State(x=zero[:1], y=zero[:1], film_kg_m2=dry[:, :1].T))
