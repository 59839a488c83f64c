"""A case hands on what it knows, and keeps no more than is still true."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from dewmargin.case import Sensor, SurfaceYear
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import air
from dewmargin.solve.hours import hours_of
from dewmargin.testing_cases import cold_weeks


@pytest.fixture(params=cold_weeks(), ids=lambda case: case.title)
def case(request):
    """Return a house, then a simulation, with one surface between room and outdoors."""
    made = request.param
    face = SurfaceYear(name="pane", t_surface_c=0.5 * (made.t_air_c + made.t_out_c))
    return made.with_surfaces((face,), ("a note",))


def test_an_outdoor_reading_changes_nothing_else(case) -> None:
    """What was looked up before stays, and is what a case made anew would find."""
    known = case.p_sat_pa
    colder = case.t_out_c - 3.0

    found, anew = case.with_outdoor_reading(colder), replace(case, t_out_c=colder)

    for each in fields(case):
        np.testing.assert_array_equal(getattr(found, each.name), getattr(anew, each.name))
    assert found.p_sat_pa is known
    np.testing.assert_array_equal(known, anew.p_sat_pa)
    assert not found.t_out_c.flags.writeable


def test_an_outdoor_reading_of_another_length_is_refused(case) -> None:
    """A rule would meet a year that is none."""
    with pytest.raises(OutOfRangeError) as error:
        case.with_outdoor_reading(np.full(5, 1.0))

    assert str(error.value) == (
        "HourlyCase: columns must have one equal length, "
        f"got t_air_c ({case.n_steps},), t_out_c (5,)"
    )


def test_an_outdoor_reading_beyond_all_weather_is_refused(case) -> None:
    """It comes from a sensor whose bias a user sets."""
    with pytest.raises(OutOfRangeError) as error:
        case.with_outdoor_reading(np.full(case.n_steps, 99.0))

    assert str(error.value) == (
        "HourlyCase: t_out_c: must be between -70 and 70 °C, but index 0 is 99"
    )


def test_new_surfaces_leave_the_first_case_alone(case) -> None:
    """Notes come behind those of the case."""
    other = case.with_surfaces((), ("another",))

    assert (len(case.surfaces), len(other.surfaces)) == (1, 0)
    assert other.notes == (*case.notes, "another")


def test_saturation_follows_the_place_of_the_sensor(case) -> None:
    """The room's own without a sensor of its own."""
    sensor = Sensor(t_air_c=case.t_air_c - 2.0, w_offset_kg_kg=np.zeros(case.n_steps))

    moved = replace(case, sensor=sensor)

    np.testing.assert_array_equal(
        replace(case, sensor=None).sensed_p_sat_pa, air.saturation_pressure(case.t_air_c)
    )
    np.testing.assert_array_equal(
        moved.sensed_p_sat_pa, air.saturation_pressure(case.t_air_c - 2.0)
    )
    np.testing.assert_array_equal(moved.p_sat_pa, air.saturation_pressure(case.t_air_c))


@pytest.mark.parametrize("steps_per_hour", [1, 4])
def test_hours_have_the_saturation_of_their_mean_temperatures(case, steps_per_hour) -> None:
    """Of room and surfaces, whether a step is an hour or not."""
    hours = hours_of(
        replace(
            case,
            steps_per_hour=steps_per_hour,
            interval_start=case.interval_start[0]
            + np.arange(case.n_steps) * np.timedelta64(3600 // steps_per_hour, "s"),
        ),
        heating_season_below_c=15.0,
    )

    np.testing.assert_array_equal(hours.p_sat_pa, air.saturation_pressure(hours.t_air_c))
    np.testing.assert_array_equal(
        hours.p_sat_surface_pa, air.saturation_pressure(hours.t_surface_c)
    )
