"""Modifiers around a rule: what it sees, its limits, its season, and what look-ahead is worth."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from cases import small_case
from dewmargin import scenario
from dewmargin.contracts import FilmMemory, Strategy
from dewmargin.errors import ExtensionError
from dewmargin.physics import air
from dewmargin.scenario import Comfort
from dewmargin.strategies.constant import Constant
from dewmargin.strategies.control import IDEAL
from dewmargin.strategies.modified import Modified, Modifiers
from dewmargin.strategies.outdoor_reset import OutdoorReset
from dewmargin.strategies.schedule import Schedule
from dewmargin.strategies.surface_limit import SurfaceLimit
from dewmargin.studies.compare.comparison import compare_case
from dewmargin.studies.demo import demo_folder
from dewmargin.studies.options.engine import prepared
from dewmargin.studies.options.held import hold

RESET = OutdoorReset(name="x", points=[[-20, 0.2], [5, 0.4]])
DEMO = demo_folder() / "scenarios" / "larch_house.toml"
N = 72
WEATHER = hnp.arrays(np.float64, N, elements=st.floats(-40.0, 40.0))


def modified(rule: Strategy = RESET, **modifiers: object) -> Modified:
    """Return a rule with modifiers as a scenario writes them."""
    return Modified(rule=rule, modifiers=Modifiers(**modifiers))


def cold(t_out_c: np.ndarray, **changes: object):
    """Return a small case of this weather."""
    n = len(t_out_c)
    return replace(small_case(n), t_out_c=np.asarray(t_out_c, dtype=np.float64), **changes)


def test_without_modifiers_it_is_the_rule() -> None:
    case = small_case(N)

    assert np.array_equal(modified().setpoint(case), RESET.setpoint(case))
    assert modified().name == "x"
    assert modified().horizon_h == 0.0
    assert isinstance(modified(), Strategy)
    assert isinstance(modified(), FilmMemory)


ALL = {
    "smoothed outdoor": {"smoothed_outdoor": {"hours": 5}},
    "look-ahead": {"look_ahead": {"hours": 6}},
    "limits": {"limits": {"floor_rh": 0.2, "rise_per_h": 0.01, "fall_per_h": 0.02}},
    "season": {"season": {"off_above_c": -9, "from_date": "01-11"}},
}
ALL["all"] = {key: value for one in list(ALL.values()) for key, value in one.items()}


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize("rule", [RESET, SurfaceLimit(name="y", while_film={"rh": 0.1})])
def test_a_modifier_sees_no_further_than_it_says(name: str, rule) -> None:
    """As the comparison checks it of every strategy, dry and wet."""
    case = small_case(N)
    strategy = modified(rule, **ALL[name])

    [held] = hold(prepared(case, Comfort()), [strategy], IDEAL)

    assert np.array_equal(held.rh_set, strategy.setpoint(case))
    assert strategy.horizon_h == (6.0 if "look_ahead" in ALL[name] else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Peeking:
    """A rule that looks an hour ahead and does not say so."""

    name: str = "peeking"
    horizon_h: float = 0.0

    def setpoint(self, case) -> np.ndarray:
        """Return what the next hour's temperature asks for."""
        return RESET.setpoint(replace(case, t_out_c=np.append(case.t_out_c[1:], 0.0)))


def test_a_rule_that_peeks_is_found_behind_its_modifiers() -> None:
    with pytest.raises(ExtensionError) as caught:
        hold(
            prepared(cold(np.linspace(0.0, -30.0, N)), Comfort()),
            [modified(Peeking(), look_ahead={"hours": 2}, season={"off_above_c": 5})],
            IDEAL,
        )

    assert str(caught.value) == (
        "strategies['peeking']: looks further ahead than its horizon_h of 2"
    )


@given(t_out_c=WEATHER, hours=st.integers(1, 100))
def test_looking_ahead_never_asks_for_more_along_a_rising_line(t_out_c, hours) -> None:
    case = cold(t_out_c)

    ahead = modified(look_ahead={"hours": hours}).setpoint(case)

    assert np.all(ahead <= RESET.setpoint(case))


@given(
    t_out_c=WEATHER,
    hours=st.integers(1, 24),
    rh=st.lists(st.floats(0.0, 1.0), min_size=4, max_size=4),
)
def test_looking_ahead_asks_for_what_the_coming_cold_will_ask_for(t_out_c, hours, rh) -> None:
    """While it gets colder all the time, a forecast of n hours is the rule n hours later."""
    case = cold(np.sort(t_out_c)[::-1])
    rule = OutdoorReset(name="x", points=list(zip([-30, -10, 0, 20], rh, strict=True)))

    ahead = modified(rule, look_ahead={"hours": hours}).setpoint(case)

    now = rule.setpoint(case)
    assert np.array_equal(ahead[:-hours], now[hours:])
    # Where the forecast ends, the coldest that is known stays.
    assert np.all(ahead[-hours:] == now[-1])


def test_looking_ahead_sees_the_surfaces_get_cold() -> None:
    case = small_case(N)
    rule = SurfaceLimit(name="y", cap_rh=1.0)

    ahead = modified(rule, look_ahead={"hours": 3}).setpoint(case)

    now = rule.setpoint(case)  # the room's temperature is constant
    expected = [now[i : i + 4].min() for i in range(N)]
    assert ahead == pytest.approx(expected, rel=1e-12)


def test_a_forecast_counts_hours_and_not_steps() -> None:
    t_out_c = np.array([0.0, 0.0, 0.0, -10.0, 0.0, 0.0])
    case = cold(t_out_c, steps_per_hour=2)

    ahead = modified(look_ahead={"hours": 1}).setpoint(case)

    assert np.array_equal(
        ahead, RESET.setpoint(replace(case, t_out_c=np.array([0, -10, -10, -10, 0, 0.0])))
    )


def test_a_smoothed_sensor_covers_63_percent_of_a_jump_in_its_time() -> None:
    t_out_c = np.where(np.arange(N) < 24, 0.0, -20.0)

    rh = modified(smoothed_outdoor={"hours": 8}).setpoint(cold(t_out_c))

    # The mean of hour n after the jump, of 20 K at 0.008 a kelvin: T·(e^(-n/T) − e^(-(n+1)/T)).
    n = np.arange(N - 24)
    left = 8.0 * (np.exp(-n / 8.0) - np.exp(-(n + 1) / 8.0))
    assert rh[:24] == pytest.approx([0.36] * 24, rel=1e-12)
    assert rh[24:] == pytest.approx(0.36 - 0.16 * (1.0 - left), rel=1e-12)


@given(
    t_out_c=WEATHER,
    floor_rh=st.floats(0.0, 0.3),
    cap_rh=st.floats(0.3, 1.0),
    rise=st.floats(0.001, 0.2),
    fall=st.floats(0.001, 0.2),
)
def test_limits_are_kept(t_out_c, floor_rh, cap_rh, rise, fall) -> None:
    limits = {"floor_rh": floor_rh, "cap_rh": cap_rh, "rise_per_h": rise, "fall_per_h": fall}

    rh = modified(limits=limits).setpoint(cold(t_out_c, steps_per_hour=2))

    assert np.all((rh >= floor_rh) & (rh <= cap_rh))
    # 2 steps an hour; 1e-12 for rounding of a difference.
    assert np.all(np.diff(rh) <= rise / 2 + 1e-12)
    assert np.all(np.diff(rh) >= -fall / 2 - 1e-12)


def test_limits_bound_without_a_rate() -> None:
    case = cold(np.array([-40.0, -7.5, 20.0]))

    rh = modified(limits={"floor_rh": 0.25, "cap_rh": 0.35}).setpoint(case)

    assert rh == pytest.approx([0.25, 0.30, 0.35])


@pytest.mark.parametrize(
    ("season", "off"),
    [
        pytest.param({"off_above_c": 10}, [False, False, True], id="above a temperature"),
        pytest.param({"from_date": "01-11"}, [True, True, False], id="before a date"),
        pytest.param({"to_date": "01-10"}, [False, False, True], id="after a date"),
        pytest.param(
            {"from_date": "10-15", "to_date": "01-10"}, [False, False, True], id="past New Year"
        ),
        pytest.param(
            {"off_above_c": 0, "to_date": "01-10"}, [False, True, True], id="either of them"
        ),
        pytest.param({}, [False, False, False], id="always on"),
    ],
)
def test_a_season_is_off(season: dict, off: list[bool]) -> None:
    days = np.array(["2017-01-10T00", "2017-01-10T23", "2017-01-11T00"], "datetime64[s]")
    case = cold(np.array([-5.0, 10.0, 10.5]), interval_start=days)

    rh = modified(Constant(name="x", rh=0.4), season=season).setpoint(case)

    assert rh.tolist() == np.where(off, 0.0, 0.4).tolist()


def test_a_season_goes_by_what_the_rule_sees() -> None:
    case = cold(np.array([12.0, 12.0, 5.0, 12.0]))

    ahead = modified(look_ahead={"hours": 1}, season={"off_above_c": 10}).setpoint(case)

    assert (ahead > 0.0).tolist() == [False, True, True, False]


def test_no_limit_lifts_a_season_that_is_off_or_delays_its_return() -> None:
    case = cold(np.array([0.0, 15.0, 0.0]))
    limits = {"floor_rh": 0.3, "rise_per_h": 0.01, "fall_per_h": 0.01}

    rh = modified(limits=limits, season={"off_above_c": 10}).setpoint(case)

    steady = modified(limits=limits).setpoint(case)
    assert rh.tolist() == [steady[0], 0.0, steady[2]]


def test_film_memory_passes_through_and_never_holds_more_than_dry() -> None:
    case = small_case(N)
    rule = SurfaceLimit(name="y", surfaces=["edge"], while_film={"rh": 0.3, "above_g_m2": 5.0})
    strategy = modified(rule, limits={"cap_rh": 0.2, "floor_rh": 0.15}, season={"off_above_c": -9})

    wet = strategy.while_wet(case)

    assert wet.surfaces == ("edge",)
    assert wet.above_g_m2 == 5.0
    dry = strategy.setpoint(case)
    assert np.array_equal(wet.rh_frac, np.minimum(rule.while_wet(case).rh_frac, dry))
    assert np.any(dry == 0.0)
    assert modified(SurfaceLimit(name="y"), look_ahead={"hours": 1}).while_wet(case) is None
    assert modified(RESET).while_wet(case) is None


WITH_MODIFIERS = """
name = "hold 35 %"
rule = "constant"
rh = 0.35
smoothed_outdoor = { hours = 6 }
look_ahead = { hours = 12 }
limits = { cap_rh = 0.3, fall_per_h = 0.05 }
season = { off_above_c = "59 degF", from_date = "10-01", to_date = "04-30" }
"""


def written() -> str:
    text = DEMO.read_text(encoding="utf-8")
    return text.replace('\nname = "hold 35 %"\nrule = "constant"\nrh = 0.35\n', WITH_MODIFIERS, 1)


def test_a_scenario_puts_modifiers_around_a_rule_and_lists_them() -> None:
    read = scenario.parse(written().encode(), DEMO)

    strategy = read.strategies[0]
    assert strategy.name == "hold 35 %"
    assert strategy.rule == Constant(name="hold 35 %", rh=0.35)
    assert strategy.modifiers.season.off_above_c == pytest.approx(15.0)
    assert isinstance(read.strategies[1], Constant)
    resolved = read.resolved()
    assert resolved["strategies[0]"] == {"name": "hold 35 %", "rule": "constant", "rh": 0.35}
    assert resolved["strategies[0].look_ahead"] == {"hours": 12}
    listed = {key: (value, source) for key, value, source in read.defaults()}
    assert listed["strategies[0].limits.floor_rh"] == (0.0, "none")
    assert listed["strategies[0].limits.rise_per_h"] == (None, "any")
    assert "strategies[0].limits.cap_rh" not in listed
    assert listed["control.deadband_rh"] == (0.0, "none")


def test_the_schema_knows_modifiers_of_every_rule() -> None:
    document = tomllib.loads(written())
    # A text with a unit is the reader's, not the schema's.
    document["strategies"][0]["season"]["off_above_c"] = 15.0
    document["control"] = {"rh_bias": 0.02}
    schema = scenario.json_schema()

    jsonschema.validate(document, schema)
    document["strategies"][0]["look_ahead"] = {"hours": 0}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(document, schema)


# What the demo's rules look like in front of a cold snap. The edge of its glass (index 0.55) at
# 18 °C, the house by night, stays dry up to p_s(T_edge)/p_s(18); a line that follows that exactly,
# up to half, is dry in steady weather and wet while the room has not dried yet.
_T_OUT = np.array([-30.0, -25.0, -20.0, -15.0, -10.0, -5.0])
_EDGE = air.saturation_pressure(_T_OUT + 0.55 * (18.0 - _T_OUT)) / air.saturation_pressure(
    np.array(18.0)
)
ALONG_THE_LIMIT = [[t_c, min(rh, 0.5)] for t_c, rh in zip(_T_OUT, _EDGE.tolist(), strict=True)]
FOLLOW_THE_COLD = [[-30, 0.15], [-10, 0.25], [5, 0.40]]


def lifted(points: list, by: float) -> list:
    """Return a reset line moved up or down."""
    return [[t_c, rh + by] for t_c, rh in points]


@pytest.fixture(scope="module")
def snaps() -> dict[str, dict]:
    """Return the demo's year, on its pad and cold water, by rule."""
    read = scenario.load(DEMO)
    weather = read.read_weather()
    case = read.case(weather)

    def rules(name: str, points: list, less: float, hours: int) -> list[Strategy]:
        return [
            OutdoorReset(name=name, points=points),
            modified(
                OutdoorReset(name=f"{name}, forecast", points=points), look_ahead={"hours": hours}
            ),
            OutdoorReset(name=f"{name}, lowered", points=lifted(points, -less)),
        ]

    strategies = (
        *rules("along the limit", ALONG_THE_LIMIT, 0.004, 2),
        *rules("follow the cold", lifted(FOLLOW_THE_COLD, 0.10), 0.005, 3),
    )
    few = replace(read, strategies=strategies, supplies=read.supplies[:1])
    return {o.strategy: o.row for o in compare_case(few, weather, case).options[1:]}


@pytest.mark.slow
def test_a_forecast_cuts_condensation_for_a_small_loss_of_humidity(snaps) -> None:
    """Two hours ahead: more than a third of the hours for a quarter of a point of humidity."""
    without, ahead = snaps["along the limit"], snaps["along the limit, forecast"]

    assert without["condensation_h"] > 900
    assert ahead["condensation_h"] < 2 / 3 * without["condensation_h"]
    assert without["rh_mean_frac"] - ahead["rh_mean_frac"] < 0.003


@pytest.mark.slow
def test_the_forecast_is_worth_more_than_a_line_lowered_as_much(snaps) -> None:
    """The same line lowered, to lose the same humidity, condenses a third more, or more."""
    ahead, lowered = snaps["along the limit, forecast"], snaps["along the limit, lowered"]

    assert lowered["rh_mean_frac"] == pytest.approx(ahead["rh_mean_frac"], abs=5e-4)
    assert lowered["condensation_h"] > 4 / 3 * ahead["condensation_h"]


@pytest.mark.slow
def test_a_forecast_helps_a_line_that_is_too_high_in_lasting_cold_only_a_little(snaps) -> None:
    """Follow the cold, ten points higher: what condenses is the cold itself, not its coming."""
    without, ahead = snaps["follow the cold"], snaps["follow the cold, forecast"]
    lowered = snaps["follow the cold, lowered"]

    assert 0 < ahead["condensation_h"] < without["condensation_h"]
    assert without["rh_mean_frac"] - ahead["rh_mean_frac"] < 0.006
    assert lowered["condensation_h"] <= ahead["condensation_h"]


def test_a_schedule_may_be_modified_too() -> None:
    rule = Schedule(name="x", rh=0.3, periods=[{"rh": 0.4, "from_h": 6}])
    case = small_case(24)

    rh = modified(rule, limits={"rise_per_h": 0.02}).setpoint(case)

    assert rh[5:12].tolist() == pytest.approx([0.3, 0.32, 0.34, 0.36, 0.38, 0.4, 0.4])
