"""Glazing by its layers against published U-factors, and the classes' defaults against both."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import references
from dewmargin.errors import OutOfRangeError
from dewmargin.physics import glazing, surfaces
from dewmargin.physics.glazing import Gap, Pane

WINTER = {"t_room_c": np.array([21.0]), "t_out_c": np.array([-18.0])}


def layers(row: dict[str, str]) -> tuple[list[Pane], list[Gap]]:
    """Return the panes and gaps of a row; coatings face the room's side of each gap."""
    n = int(row["panes"])
    coated = float(row["emissivity"] or surfaces.EMISSIVITY)
    panes = [Pane(thickness_mm=3.0, outer_emissivity=surfaces.EMISSIVITY)]
    panes += [Pane(thickness_mm=3.0, outer_emissivity=coated) for _ in range(n - 1)]
    return panes, [Gap(width_mm=float(row["gap_mm"]), gas=row["gas"]) for _ in range(n - 1)]


def index(found: glazing.GlassYear, t_room_c: float, t_out_c: float) -> float:
    return float((found.t_inside_c[0] - t_out_c) / (t_room_c - t_out_c))


@pytest.mark.parametrize("row", references.rows("glazing"), ids=lambda row: row["name"])
def test_published_u_factors_of_the_centre_of_glass(row: dict[str, str]) -> None:
    # 0.05 W/(m2 K): the table has two decimals of inch-pound values, and panes of 3 mm or 6 mm.
    found = glazing.solve(*layers(row), **WINTER)

    assert found.u_factor_w_m2_k[0] == pytest.approx(float(row["u_factor"]), abs=0.05)


@pytest.mark.parametrize("row", references.rows("glazing"), ids=lambda row: row["name"])
@pytest.mark.parametrize(("t_out_c", "key"), [(-18, "index"), (-30, "index_m30"), (0, "index_0")])
def test_index_of_another_layer_solver(row: dict[str, str], t_out_c: float, key: str) -> None:
    # 0.015: the other solver's gas properties and pane thicknesses are its own.
    found = glazing.solve(*layers(row), t_room_c=np.array([21.0]), t_out_c=np.array([t_out_c]))

    assert index(found, 21.0, t_out_c) == pytest.approx(float(row[key]), abs=0.015)


def test_a_tight_storm_pane_is_a_double_pane_of_50_mm() -> None:
    """U 2.78 and index 0.62: the same other layer solver."""
    found = glazing.solve([Pane(), Pane()], [Gap(width_mm=50.0)], **WINTER)

    assert found.u_factor_w_m2_k[0] == pytest.approx(2.78, abs=0.05)
    assert index(found, 21.0, -18.0) == pytest.approx(0.62, abs=0.015)


@pytest.mark.parametrize(
    ("name", "colder_k"),
    [
        ("double clear 12.7 mm air", 0.57),
        ("single 3 mm", 0.50),
        ("double e 0.10 12.7 mm argon", 0.35),
        ("triple 2 e 0.10 12.7 mm argon", 0.20),
    ],
)
def test_thin_air_at_a_high_place_warms_the_glass_less(name: str, colder_k: float) -> None:
    """At 70.1 kPa, 3000 m up: another layer solver's difference, of which 0.05 K are its digits.

    Gaps were sealed at sea level and keep what they do.
    """
    (row,) = [row for row in references.rows("glazing") if row["name"] == name]

    low, high = (
        glazing.solve(*layers(row), **WINTER, p_pa=p_pa)
        for p_pa in (101_325.0, np.array([70_100.0]))
    )

    assert low.t_inside_c[0] - high.t_inside_c[0] == pytest.approx(colder_k, abs=0.05)


def test_the_room_s_film_goes_with_the_square_root_of_pressure() -> None:
    """Nu = 0.56 Ra^0.25 in laminar flow, and Ra goes with density squared: ISO 15099."""
    film = [
        glazing._inside_convection(np.array([10.0]), np.array([20.0]), 0.5, np.array([p_pa]))
        for p_pa in (101_325.0, 101_325.0 / 4.0)
    ]

    assert film[0] / film[1] == pytest.approx([2.0], rel=1e-12)


SINGLE = ([Pane()], [])
DOUBLE = ([Pane(), Pane()], [Gap(width_mm=12.7)])


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        # Windy; calm (8 W/(m2 K)); calm under a sky 20 K below the air: the other layer solver.
        pytest.param(SINGLE, (0.225, 0.408, 0.372), id="single"),
        pytest.param(DOUBLE, (0.629, 0.673, 0.654), id="double"),
    ],
)
def test_wind_and_sky_outside(made, expected: tuple[float, ...]) -> None:
    found = [
        index(
            glazing.solve(
                *made, **WINTER, outside_film_w_m2_k=film, t_sky_c=np.array([-18.0 - colder])
            ),
            21.0,
            -18.0,
        )
        for film, colder in ((26.0, 0.0), (8.0, 0.0), (8.0, 20.0))
    ]

    assert found == pytest.approx(expected, abs=0.01)


def test_a_low_gap_convects_more() -> None:
    """ISO 15099: Nu = 0.242 (Ra·width/height)^0.272 where it is the larger, as in a low pane."""
    tall, low = (
        glazing._gap_convection(
            "air", Gap(width_mm=50.0), np.array([0.0]), np.array([10.0]), height
        )
        for height in (0.2, 0.1)
    )

    assert low / tall == pytest.approx([2.0**0.272], rel=1e-12)


@pytest.mark.parametrize("index", [0.0, 0.1, 0.22, 0.3, 0.9, 1.0])
def test_an_index_of_any_size_is_kept_under_its_own_film(index: float) -> None:
    """25 W/(m2 K) outside in all, sky as warm as the air: what it was told for."""
    t_in, t_out = np.array([21.0]), np.array([-18.0])
    to_sky = 4.0 * 0.84 * 5.6697e-8 * (t_out + 273.15) ** 3

    def moved(film: float, colder_k: float) -> float:
        found = surfaces.exposed_surface_temperature(
            t_in, t_out, temperature_index=index, convection_w_m2_k=film - to_sky,
            t_sky_c=t_out - colder_k, sky_frac=0.5,
        )  # fmt: skip
        return float((found - t_out)[0] / 39.0)

    assert moved(25.0, 0.0) == pytest.approx(index, abs=1e-12)
    if index < 1.0:
        assert moved(25.0, 20.0) < index < moved(12.0, 0.0)


def test_an_index_moved_to_other_wind_and_sky_follows_the_layers() -> None:
    """The series of resistances against the solver of layers, single and double, calm and clear.

    0.015: the room's film grows with the difference, which the series leaves out.
    """
    for made in (SINGLE, DOUBLE):
        usual = index(glazing.solve(*made, **WINTER, outside_film_w_m2_k=21.8), 21.0, -18.0)
        for film, colder in ((8.0, 0.0), (8.0, 20.0), (12.0, 10.0)):
            sky = np.array([-18.0 - colder])
            solved = glazing.solve(*made, **WINTER, outside_film_w_m2_k=film, t_sky_c=sky)

            moved_c = surfaces.exposed_surface_temperature(
                np.array([21.0]),
                np.array([-18.0]),
                temperature_index=usual,
                convection_w_m2_k=np.array([film]),
                t_sky_c=sky,
                sky_frac=0.5,
            )

            assert (moved_c[0] + 18.0) / 39.0 == pytest.approx(
                index(solved, 21.0, -18.0), abs=0.015
            )


@pytest.mark.parametrize(("film", "expected_k"), [(25.0, 0.98), (12.0, 2.05)])
def test_a_clear_sky_is_so_much_colder_air(film: float, expected_k: float) -> None:
    """h_r 3.28, half sky, 15 K below the air: 0.98 K with a film of 25 in all, 2.05 K with 12.

    By the formula of ISO 13790 on paper: 3.28·0.5·15/25 and /12.
    """
    t_out_c = 0.4 - 273.15 + (3.28 / (4.0 * 0.84 * 5.6697e-8)) ** (1.0 / 3.0)
    t_out = np.array([t_out_c - 0.4])
    to_sky = 4.0 * 0.84 * 5.6697e-8 * (t_out[0] + 273.15) ** 3

    # An index of 0 shows what is felt outdoors: no resistance but the films.
    def felt(colder_k: float) -> float:
        u = 1.0 / (0.13 + 1.0 / film)
        found = surfaces.exposed_surface_temperature(
            t_out,
            t_out,
            temperature_index=0.0,
            convection_w_m2_k=np.array([film - to_sky]),
            t_sky_c=t_out - colder_k,
            sky_frac=0.5,
            inside_m2_k_w=0.13,
        )
        return float((t_out - found)[0] / (u * 0.13))

    assert felt(15.0) == pytest.approx(expected_k, abs=0.01)
    assert felt(0.0) == 0.0


def test_the_sky_of_the_weather_files() -> None:
    """EPW data dictionary: 257 and 218 W/m2; a clear sky at 293 K with dew point 283 K: 340.6."""
    got = glazing.sky_temperature(np.array([257.0, 218.0, 340.6]))

    assert got == pytest.approx([-13.68, -24.14, 5.25], abs=0.01)
    clear = glazing.clear_sky_infrared(np.array([293.0]) - 273.15, np.array([283.0]) - 273.15)
    # The dictionary prints an emissivity of 0.815.
    assert clear == pytest.approx([340.6], rel=0.001)


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        ("single", "single 3 mm"),
        ("double_clear", "double clear 12.7 mm air"),
        ("double_low_e_air", "double e 0.10 12.7 mm air"),
        ("double_low_e_argon", "double e 0.10 12.7 mm argon"),
        ("triple_clear", "triple clear 12.7 mm air"),
        ("triple_low_e_argon", "triple 2 e 0.10 12.7 mm argon"),
    ],
)
def test_the_centres_of_the_classes_are_those_of_published_units(kind, name: str) -> None:
    (row,) = [row for row in references.rows("glazing") if row["name"] == name]

    assert glazing.GLAZING[kind].centre == pytest.approx(float(row["index"]), abs=0.01)


@given(
    t_out=st.floats(-45.0, 45.0),
    t_room=st.floats(10.0, 30.0),
    width=st.floats(4.0, 50.0),
    wind=st.floats(0.0, 30.0),
    sky=st.floats(0.0, 40.0),
    n=st.integers(1, 4),
)
def test_any_glazing_settles_with_its_heat_balance(t_out, t_room, width, wind, sky, n) -> None:
    panes, gaps = [Pane() for _ in range(n)], [Gap(width_mm=width) for _ in range(n - 1)]

    found = glazing.solve(
        panes,
        gaps,
        t_room_c=np.array([t_room]),
        t_out_c=np.array([t_out]),
        outside_film_w_m2_k=glazing.outside_convection(np.array([wind]), shelter_frac=0.5),
        t_sky_c=np.array([t_out - sky]),
    )

    face = found.t_inside_c[0]
    assert min(t_out - sky, t_room) - 1e-6 <= face <= max(t_out, t_room) + 1e-6
    # Solved again a little warmer outdoors, the face is warmer: no turn was cut short.
    warmer = glazing.solve(
        panes,
        gaps,
        t_room_c=np.array([t_room]),
        t_out_c=np.array([t_out + 0.5]),
        outside_film_w_m2_k=glazing.outside_convection(np.array([wind]), shelter_frac=0.5),
        t_sky_c=np.array([t_out + 0.5 - sky]),
    )
    assert warmer.t_inside_c[0] > face


@pytest.mark.parametrize(
    ("panes", "gaps", "message"),
    [
        ([], [], "needs panes and one gap fewer, got 0 and 0"),
        ([Pane()], [Gap(width_mm=10.0)], "needs panes and one gap fewer, got 1 and 1"),
    ],
)
def test_layers_that_are_none_are_refused(panes, gaps, message: str) -> None:
    with pytest.raises(OutOfRangeError, match=message):
        glazing.solve(panes, gaps, **WINTER)


def test_layers_out_of_range_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="air, argon, krypton, got 'neon'"):
        Gap(width_mm=12.0, gas="neon")
    with pytest.raises(OutOfRangeError, match="filled_frac"):
        Gap(width_mm=12.0, filled_frac=1.2)
    with pytest.raises(OutOfRangeError, match="thickness_mm"):
        Pane(thickness_mm=0.0)
    with pytest.raises(OutOfRangeError, match="shelter_frac"):
        glazing.outside_convection(np.array([3.0]), shelter_frac=math.nan)
