"""Surfaces of a scenario: each way to tell how cold they are, worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pydantic import ValidationError

import published
from cases import small_case
from dewmargin.case import SurfaceYear
from dewmargin.errors import InputError
from dewmargin.physics import air, glazing, surfaces
from dewmargin.scenario.surface import SurfaceInput

N = 48


def year(case=None, **keys: object) -> SurfaceYear:
    return SurfaceInput(name="pane", **keys).year(case or small_case(N), "surfaces[0]")


def index(found: SurfaceYear, case=None) -> np.ndarray:
    case = case or small_case(N)
    return (found.t_surface_c - case.t_out_c) / (case.t_air_c - case.t_out_c)


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        pytest.param({"temperature_index": 0.63}, 0.63, id="index"),
        # 1 - 0.13 U, EN 673 and ISO 10077: 4-16-4 clear 0.645, low-e argon 0.857; tables computed.
        pytest.param({"u_factor_w_m2_k": 2.73}, 0.645, id="U-factor, EN 673"),
        pytest.param({"u_factor_w_m2_k": 1.10}, 0.857, id="U-factor, low-e"),
        # ISO 13788 for mould on walls: R_si 0.25, f = 1 - 0.25 U.
        pytest.param({"u_factor_w_m2_k": 0.8, "inside_m2_k_w": 0.25}, 0.80, id="wall"),
        # A two-dimensional section of clear double glazing (U 2.73): 0.57 at the edge, 0.40 at the
        # sill; in the table up to 0.03 less.
        pytest.param({"u_factor_w_m2_k": 2.73, "part": "edge"}, 0.555, id="edge of a U-factor"),
        pytest.param(
            {"u_factor_w_m2_k": 2.73, "part": "sightline"}, 0.39, id="sightline of a U-factor"
        ),
        # A film of 0.25 in front of it takes 0.12 U more.
        pytest.param(
            {"u_factor_w_m2_k": 1.53, "part": "edge", "inside_m2_k_w": 0.25},
            0.68 - 0.12 * 1.53,
            id="edge behind a curtain",
        ),
        pytest.param({"glazing": "double_clear", "part": "centre"}, 0.62, id="class, centre"),
        pytest.param({"glazing": "double_clear", "part": "edge"}, 0.55, id="class, metal edge"),
        pytest.param(
            {"glazing": "double_clear", "part": "edge", "spacer": "plastic"},
            0.59,
            id="class, plastic edge",
        ),
        pytest.param({"glazing": "double_clear"}, 0.39, id="class: the coldest part"),
        pytest.param(
            {"glazing": "double_clear", "spacer": "stainless"}, 0.42, id="class, stainless sill"
        ),
        # The section's: 1 - 0.13 U less what the glass beside it takes.
        pytest.param({"frame": "metal"}, 0.21, id="metal frame"),
        pytest.param({"frame": "wood"}, 0.71, id="wooden frame"),
        pytest.param(
            {"frame": "wood", "inside_m2_k_w": 0.25}, 0.71 - 0.12 * 1.8, id="frame behind a curtain"
        ),
        pytest.param({"temperature_index": 0.7, "index_change": -0.1}, 0.6, id="corner"),
    ],
)
def test_a_constant_index(keys: dict[str, object], expected: float) -> None:
    # The tables have two decimals.
    assert index(year(**keys)) == pytest.approx(np.full(N, expected), abs=0.005)


def test_an_index_by_outdoor_temperature() -> None:
    """Low-e argon: 0.778 at -30 °C, 0.796 at 0 °C (layer solver); between them a straight line."""
    case = small_case(N, t_out_c=np.linspace(-40.0, 10.0, N))

    got = index(year(case, temperature_index_points=[["-22 degF", 0.778], [0.0, 0.796]]), case)

    expected = 0.778 + 0.018 * np.clip((case.t_out_c + 30.0) / 30.0, 0.0, 1.0)
    assert got == pytest.approx(expected)


def test_closed_blinds_lower_the_index_at_night() -> None:
    case = small_case(N, interval_start=_hours("2017-01-10T00:30"))

    got = index(
        year(case, temperature_index=0.6, closed={"index_change": -0.1, "from_h": 22, "to_h": 7}),
        case,
    )

    # Steps that start at half past: closed from 22:30 up to 6:30.
    closed = [h >= 22 or h < 7 for h in (np.arange(N) % 24)]
    assert got == pytest.approx(np.where(closed, 0.5, 0.6))


def test_layers_are_solved_step_by_step() -> None:
    case = small_case(N)
    panes = [{"inner_emissivity": 0.84}, {"outer_emissivity": 0.1}]
    keys = {"layers": {"panes": panes, "gaps": [{"width_mm": 12.7, "gas": "argon"}]}}

    centre, edge = year(case, **keys), year(case, **keys, part="edge")

    by_hand = glazing.solve(
        [glazing.Pane(), glazing.Pane(outer_emissivity=0.1)],
        [glazing.Gap(width_mm=12.7, gas="argon")],
        t_room_c=case.t_air_c,
        t_out_c=case.t_out_c,
        p_pa=case.p_pa,
    )
    assert np.array_equal(centre.t_surface_c, by_hand.t_inside_c)
    assert np.ptp(index(centre)) > 0.003  # low-e argon is not of one index
    # U 1.53 (published) has 1 - 0.13 U = 0.801 at the centre of the section, 0.688 at its edge, and
    # 0.68 in the table; 0.005 for our U.
    assert index(centre) - index(edge) == pytest.approx(np.full(N, 0.801 - 0.68), abs=0.005)


def test_layers_feel_the_thin_air_of_a_high_place() -> None:
    """The room's film is the station's; 0.57 K at -18 °C: see the layers' own test."""
    keys = {"layers": {"panes": [{}, {}], "gaps": [{"width_mm": 12.7}]}}
    at = {"t_out_c": np.full(N, -18.0), "t_air_c": np.full(N, 21.0)}

    low, high = (
        year(small_case(N, p_pa=np.full(N, p_pa), **at), **keys).t_surface_c
        for p_pa in (air.STANDARD_PRESSURE, 70_100.0)
    )

    assert low - high == pytest.approx(np.full(N, 0.57), abs=0.05)


def test_panes_that_are_told_are_not_guessed_from_the_u_factor() -> None:
    """Three clear panes and two with a coating have like U-factors: 0.47 and 0.40 at the sill."""
    gap = {"width_mm": 12.7}
    three = {"panes": [{}] * 3, "gaps": [gap] * 2}
    two = {"panes": [{}, {"outer_emissivity": 0.1}], "gaps": [gap]}

    got = [index(year(layers=each, part="sightline")).mean() for each in (three, two)]

    assert got[0] - got[1] == pytest.approx(0.07, abs=0.02)


@pytest.mark.parametrize(
    "keys",
    [
        # EN 673, a pane of 4 mm of 5.75 W/(m2 K) with a film of 25 outside in all.
        {"temperature_index": 0.252},
        {"layers": {"panes": [{}]}},
    ],
    ids=["index", "layers"],
)
def test_the_outside_of_the_weather(keys: dict[str, object]) -> None:
    """A single pane: calm air warms it by 0.18 of the difference, a clear sky takes 0.04 of that.

    0.225, 0.408 and 0.372 with convection of 26 and 8 and a sky 20 K below: another layer solver.
    At the window 4 + 4 v: 1 m/s is calm. 0.02: EN 673's room film is 0.13, solved 0.137 m2 K/W.
    """
    case = small_case(
        N,
        t_out_c=np.full(N, -18.0),
        wind_m_s=np.full(N, 2.0),
        p_pa=np.full(N, air.STANDARD_PRESSURE),
    )
    grey, clear = (replace(case, t_sky_c=case.t_out_c - below) for below in (0.0, 20.0))

    got = [index(year(c, **keys, outside="weather"), c)[0] for c in (grey, clear)]

    assert got == pytest.approx([0.408, 0.372], abs=0.02)
    assert index(year(case, **keys), case)[0] == pytest.approx(0.238, abs=0.015)
    sheltered = year(grey, **keys, outside="weather", shelter_frac=0.0).t_surface_c
    assert np.all(sheltered > year(grey, **keys, outside="weather").t_surface_c)


def simulated(**more: SurfaceYear):
    """Return a case whose simulation reports three faces of two constructions."""
    t = small_case(N).t_out_c
    swing = np.where(np.arange(N) % 2 == 0, 3.0, -3.0)
    faces = {
        "North glass": SurfaceYear(
            name="North glass", t_surface_c=t + 20.0 + swing, area_m2=2.0, construction="PANE",
            sensitivity="resistant",
        ),
        "South glass": SurfaceYear(
            name="South glass", t_surface_c=t + 20.0 - swing, area_m2=3.0, construction="PANE",
            sensitivity="resistant",
        ),
        "North frame": SurfaceYear(name="North frame", t_surface_c=t + 12.0),
    }  # fmt: skip
    return small_case(N, simulated_surfaces=faces | more)


def test_simulated_faces_one_by_one_and_the_coldest_of_a_group() -> None:
    case = simulated()

    one = year(case, simulated="north GLASS")
    glass = year(case, simulated="* glass")
    made = year(case, construction="pane", area_m2=5.0)
    north = year(case, simulated="north*", mould_class="very_sensitive")

    assert np.array_equal(one.t_surface_c, case.simulated_surfaces["North glass"].t_surface_c)
    assert (one.area_m2, one.sensitivity) == (2.0, "resistant")
    assert glass.t_surface_c == pytest.approx(case.t_out_c + 17.0)
    assert (glass.area_m2, glass.sensitivity) == (None, "resistant")
    assert np.array_equal(made.t_surface_c, glass.t_surface_c)
    assert made.area_m2 == 5.0
    assert north.t_surface_c == pytest.approx(case.t_out_c + 12.0)
    assert (north.area_m2, north.sensitivity) == (None, "very_sensitive")
    closed = year(case, simulated="* glass", closed={"index_change": -0.1, "from_h": 0, "to_h": 24})
    assert glass.t_surface_c - closed.t_surface_c == pytest.approx(
        0.1 * (case.t_air_c - case.t_out_c)
    )


def test_the_coldest_is_the_one_that_sweats_first_in_its_own_zone_s_air() -> None:
    """A face 1 K warmer in a zone more humid by 2 g/kg sweats first: 1 K is worth 0.5 g/kg."""
    t = small_case(N).t_out_c
    bath = SurfaceYear(
        name="Bath glass", t_surface_c=t + 18.0, w_offset_kg_kg=np.full(N, 2e-3), area_m2=1.0
    )
    case = simulated(**{"Bath glass": bath})

    found = year(case, simulated="* glass")

    assert np.array_equal(found.t_surface_c, bath.t_surface_c)
    assert np.array_equal(found.w_offset_kg_kg, bath.w_offset_kg_kg)


@pytest.mark.parametrize(
    ("keys", "where", "message", "hint"),
    [
        ({"simulated": "North glas"}, "surfaces[0].simulated", "no inside face is called",
         "did you mean 'North glass'? reported: 'North glass', 'South glass', 'North frame'"),
        ({"simulated": "[Q]*"}, "surfaces[0].simulated", "no inside face is called", "reported"),
        ({"construction": "PANES"}, "surfaces[0].construction", "construction is called 'PANES'",
         "did you mean 'PANE'? constructions: 'PANE'"),
        ({"simulated": "North glass", "index_change": -0.9}, "surfaces[0]",
         "index_change and closed take the temperature index of ", "None"),
        ({"layers": {"panes": [{}]}, "closed": {"index_change": -0.3}}, "surfaces[0]",
         "out of 0 to 1", "None"),
        ({"glazing": "single", "outside": "weather"}, "surfaces[0].outside",
         "needs wind and sky, which the space does not tell", "Site Wind Speed"),
        ({"layers": {"panes": [{}]}, "outside": "weather"}, "surfaces[0].outside",
         "needs wind and sky", "t_sky_c"),
    ],
)  # fmt: skip
def test_what_the_space_does_not_tell_is_named(keys, where: str, message: str, hint: str) -> None:
    with pytest.raises(InputError) as refused:
        year(simulated(), **keys)

    assert refused.value.where == where
    assert message in refused.value.what
    assert hint in str(refused.value.hint)


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        ({}, "needs exactly one of temperature_index, "),
        ({"glazing": "single", "frame": "wood"}, "got glazing and frame"),
        ({"glazing": "quadruple"}, "Input should be 'single', 'double_clear'"),
        ({"frame": "wood", "part": "edge"}, "part and spacer are of u_factor_w_m2_k, glazing"),
        ({"u_factor_w_m2_k": 1.0, "spacer": "plastic"}, "not at the centre"),
        (
            {"glazing": "double_clear", "spacer": "warm"},
            "must be one of metal, stainless, plastic; 'warm' may be stainless or plastic",
        ),
        ({"glazing": "double_clear", "spacer": "foam"}, "'metal', 'stainless' or 'plastic'"),
        ({"simulated": "a", "outside": "weather"}, "outside and films are simulated already"),
        ({"layers": {"panes": [{}]}, "inside_m2_k_w": 0.25}, "the film of layers is solved"),
        ({"glazing": "single", "inside_m2_k_w": 0.25}, "inside_m2_k_w acts on a U-factor or"),
        ({"frame": "wood", "shelter_frac": 0.2}, 'shelter_frac needs outside = "weather"'),
        ({"u_factor_w_m2_k": 9.0}, "gives a temperature index of -0.17"),
        ({"u_factor_w_m2_k": 5.8, "part": "edge"}, "the edge is of sealed units of at most 3.3"),
        ({"layers": {"panes": [{}]}, "part": "sightline"}, "a single pane has none"),
        ({"temperature_index": 0.2, "index_change": -0.3}, "out of 0 to 1"),
        (
            {"temperature_index": 0.1, "closed": {"index_change": -0.15}},
            "index_change and closed take",
        ),
        ({"temperature_index_points": [[0, 0.5], [-10, 0.4]]}, "must rise from point to point"),
        ({"temperature_index_points": [[0, 5]]}, "must be between 0 and 1, got 5 at 0 °C"),
        ({"temperature_index_points": [0.5]}, "must be pairs of [outdoor °C, index], got 0.5"),
        ({"layers": {"panes": [{}, {}]}}, "2 panes need 1 gaps, got 0"),
        (
            {"temperature_index": 0.5, "material": "glass", "mould_class": "sensitive"},
            "mould_class = sensitive takes the place of material = glass: leave one out",
        ),
        (
            {"temperature_index": 0.5, "material": "ice"},
            "Input should be 'glass', 'metal', 'concrete', 'board' or 'wood'",
        ),
        ({"layers": {"panes": [{}], "glass": 1}}, "Extra inputs are not permitted"),
    ],
)
def test_a_surface_that_cannot_be_is_refused(keys: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError) as refused:
        SurfaceInput(name="pane", **keys)

    assert message in str(refused.value)


def test_defaults_tell_that_they_are_defaults() -> None:
    pane = SurfaceInput(name="pane", glazing="triple_clear", part="edge", spacer="plastic")
    frame = SurfaceInput(name="sash", frame="pvc")

    assert pane.note() == (
        "surface pane: triple clear, edge with a plastic spacer, temperature index 0.72 "
        "(engineering default; a test or a two-dimensional calculation is better)"
    )
    assert frame.note() == (
        "surface sash: pvc frame, 2.2 W/(m2 K), temperature index 0.67 at its coldest "
        "(engineering default; a test or a two-dimensional calculation is better)"
    )
    assert SurfaceInput(name="x", temperature_index=0.5).note() is None


def test_latent_heat_slows_the_film_by_how_well_the_surface_is_tied_to_the_room() -> None:
    """Below its frost point a single pane takes 38.2 g/(m2 h), not 42.0: worked example, coupled.

    Room 21 °C, 40 %, -10 °C outdoors, 7.7 W/(m2 K) inside of which 3.5 is convection, 0.044 m2 K/W
    to outdoors: dry at -2.16 °C, so an index of 0.253. 2 %: one linear step of the coupling.
    """
    n = 4
    case = small_case(
        n, t_out_c=np.full(n, -10.0), t_air_c=np.full(n, 21.0), p_pa=np.full(n, 101_325.0)
    )
    dry_index = (-2.16 + 10.0) / 31.0

    pane = year(case, temperature_index=dry_index, convection_w_m2_k=3.5)

    w = air.humidity_ratio_at_rh(case.t_air_c, np.full(n, 0.40), case.p_pa)
    w_surface = air.saturated_humidity_ratio(pane.t_surface_c, case.p_pa)
    assert 3.6e6 * pane.beta_kg_m2_s * (w - w_surface) == pytest.approx(np.full(n, 38.2), rel=0.02)


def test_latent_heat_warms_a_surface_behind_furniture_more() -> None:
    """By R = I·R_si: the film in front of it and what lies behind, side by side."""
    case = small_case(N)
    keys = {"u_factor_w_m2_k": 1.5}

    got = [year(case, **keys, inside_m2_k_w=r).beta_kg_m2_s for r in (0.13, 0.25)]

    for beta, r in zip(got, (0.13, 0.25), strict=True):
        t_c = year(case, **keys, inside_m2_k_w=r).t_surface_c
        expected = surfaces.wet_mass_transfer(
            surfaces.mass_transfer(), t_c, case.p_pa, resistance_m2_k_w=(1.0 - 1.5 * r) * r
        )
        assert beta == pytest.approx(expected, rel=1e-9)
    assert np.all(got[1] != got[0])


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        ({"glazing": "single", "part": "centre"}, "resistant"),
        ({"glazing": "single"}, "resistant"),
        ({"glazing": "single", "material": "wood"}, "sensitive"),  # where it meets the sash
        ({"layers": {"panes": [{}]}}, "resistant"),
        ({"layers": {"panes": [{}, {}], "gaps": [{"width_mm": 16}]}, "part": "edge"}, "resistant"),
        ({"u_factor_w_m2_k": 1.4, "part": "sightline"}, "resistant"),
        ({"u_factor_w_m2_k": 1.4, "part": "centre"}, "resistant"),
        ({"u_factor_w_m2_k": 1.4}, "sensitive"),  # it may be a wall's
        ({"frame": "wood"}, "sensitive"),
        ({"frame": "pvc"}, "sensitive"),
        ({"frame": "metal"}, "resistant"),
        ({"frame": "metal_thermal_break"}, "resistant"),
        ({"temperature_index": 0.7}, "sensitive"),
        ({"temperature_index": 0.7, "material": "glass"}, "resistant"),
        ({"temperature_index_points": [[0, 0.7]], "material": "metal"}, "resistant"),
        ({"temperature_index": 0.7, "material": "concrete"}, "medium_resistant"),
        ({"temperature_index": 0.7, "material": "board"}, "sensitive"),
        ({"temperature_index": 0.7, "material": "wood"}, "sensitive"),
        ({"glazing": "single", "mould_class": "sensitive"}, "sensitive"),
        ({"temperature_index": 0.7, "mould_class": "medium_resistant"}, "medium_resistant"),
    ],
)
def test_how_easily_mould_grows_on_it(keys: dict[str, object], expected: str) -> None:
    assert year(**keys).sensitivity == expected


def test_a_simulated_face_is_of_what_the_run_says_unless_told() -> None:
    case = simulated()

    got = [
        year(case, simulated="North frame", **keys).sensitivity
        for keys in ({}, {"material": "metal"})
    ]

    assert got == ["sensitive", "resistant"]
    assert year(case, simulated="North glass", material="wood").sensitivity == "sensitive"


@pytest.mark.parametrize("name", ["window glass, edge", "Glazing", "bay WINDOW", "skylights"])
def test_what_is_named_like_glass_is_asked_for_its_material(name: str) -> None:
    told = {"material": "glass"}, {"mould_class": "sensitive"}

    note = SurfaceInput(name=name, temperature_index=0.5).note()

    assert note == (
        f"surface {name}: it is named like glass, but its material is not told: mould is judged as "
        'on paint, paper and wood; say material = "glass" if it is that, or what it is'
    )
    assert [SurfaceInput(name=name, temperature_index=0.5, **keys).note() for keys in told] == [
        None,
        None,
    ]
    assert SurfaceInput(name=name, simulated=name).note() is None
    assert SurfaceInput(name="panelled wall", temperature_index=0.5).note() is None


@pytest.mark.parametrize(
    "row", published.rows("window_max_rh"), ids=lambda row: f"{row['t_out_f']} °F outdoors"
)
def test_the_handbook_s_double_window_is_the_edge_of_clear_double_glazing(row) -> None:
    """Its table of highest humidities, within what 0.01 of the index are worth and its rounding.

    0.55 is what its double column decodes to; our class has that at the edge with a metal spacer.
    """
    t_out_c = (float(row["t_out_f"]) - 32.0) / 1.8
    case = small_case(N, t_out_c=np.full(N, t_out_c), t_air_c=np.full(N, 23.33))

    found = year(case, glazing="double_clear", part="edge")

    rh = air.saturation_pressure(found.t_surface_c[:1]) / air.saturation_pressure(np.array([23.33]))
    assert 100.0 * rh[0] == pytest.approx(float(row["double_percent"]), abs=1.7)


def _hours(start: str) -> np.ndarray:
    return np.datetime64(start, "s") + np.arange(N) * np.timedelta64(3600, "s")
