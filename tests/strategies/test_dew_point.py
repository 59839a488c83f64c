"""Holding a dew point: against published saturation, PsychroLib, and the rule's own limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from cases import small_case
from dewmargin.case import Sensor
from dewmargin.strategies.dew_point import DewPoint
from published import rows
from references import psychrolib_oracle

# The room, 25 °C, and what it may be held at.
TABLE = sorted(
    (
        row
        for row in rows("saturation_pressure")
        if row["source"].startswith("HoF") and -40.0 <= float(row["t_c"]) <= 25.0
    ),
    key=lambda row: -float(row["t_c"]),
)


@pytest.mark.parametrize("row", TABLE[1:], ids=lambda r: f"{r['phase']} {r['t_c']} °C")
def test_published_saturation_gives_the_humidity_of_a_dew_or_frost_point(row) -> None:
    """Handbook of Fundamentals 2017, chapter 1, table 3: p_s of the point over p_s of the room."""
    room = TABLE[0]
    case = replace(small_case(2), t_air_c=np.full(2, float(room["t_c"])))

    rh = DewPoint(name="x", dew_point_c=float(row["t_c"]), cap_rh=1.0).setpoint(case)

    # 8e-4: 500 ppm over ice and 300 over water, as argued in the tests of moist air.
    assert rh == pytest.approx([float(row["p_pa"]) / float(room["p_pa"])] * 2, rel=8e-4)


@pytest.mark.parametrize("dew_point_c", [-25.0, -10.0, -0.5, 0.0, 0.5, 5.0, 12.0])
def test_the_air_that_it_asks_for_has_that_dew_point_in_psychrolib(dew_point_c: float) -> None:
    oracle = psychrolib_oracle.load()
    case = small_case(3)

    rh = DewPoint(name="x", dew_point_c=dew_point_c, cap_rh=1.0).setpoint(case)

    found = oracle.GetTDewPointFromRelHum(21.0, float(rh[0]))
    # 2e-3 K: psychrolib iterates its dew point to 1e-3 K.
    assert found == pytest.approx(dew_point_c, abs=2e-3)


def test_a_cold_room_is_held_more_humid_than_a_warm_one_up_to_the_cap() -> None:
    case = replace(small_case(3), t_air_c=np.array([16.0, 20.0, 24.0]))

    rh = DewPoint(name="x", dew_point_c=5.0).setpoint(case)

    assert rh[0] == 0.40
    assert 0.40 > rh[1] > rh[2]


def test_it_is_read_where_the_humidistat_hangs() -> None:
    case = small_case(3)
    offset = np.full(3, 5e-4)
    cool = replace(case, sensor=Sensor(t_air_c=np.full(3, 18.0), w_offset_kg_kg=offset))
    rule = DewPoint(name="x", dew_point_c=3.0)

    there = rule.setpoint(cool)

    assert np.array_equal(there, rule.setpoint(replace(case, t_air_c=np.full(3, 18.0))))


@given(low_c=st.floats(-40.0, 30.0), high_c=st.floats(-40.0, 30.0), cap_rh=st.floats(0.0, 1.0))
def test_a_higher_dew_point_is_never_a_drier_room(low_c, high_c, cap_rh) -> None:
    low_c, high_c = sorted((low_c, high_c))
    low, high = (
        DewPoint(name="x", dew_point_c=t_c, cap_rh=cap_rh).setpoint(small_case(2))
        for t_c in (low_c, high_c)
    )

    assert np.all(low <= high)
    assert np.all((high >= 0.0) & (high <= cap_rh))


def test_a_dew_point_of_no_room_is_refused() -> None:
    with pytest.raises(ValidationError, match="less than or equal to 30"):
        DewPoint(name="x", dew_point_c=45.0)
