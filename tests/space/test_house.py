"""The house model: states worked by hand, closing sums, and what it refuses."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from pydantic import ValidationError

from dewmargin.errors import InputError
from dewmargin.physics import air
from dewmargin.space import house as house_module
from dewmargin.space.house import House, Thermostat, Ventilation
from dewmargin.weather.epw import Weather, interval_mean, read_epw

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase

LARCH_VALLEY = Path(__file__).parents[2] / "weather" / "larch_valley.epw"
HERE = Path()

NUMBERS = {
    "floor_area_m2": 160.0,
    "volume_m3": 430.0,
    "storeys": 2,
    "leakage_m3_h_at_50pa": 1200.0,
    "heat_loss_w_k": 190.0,
    "bedrooms": 3,
}


def steady(
    hours: int = 48, *, t_out_c: float = -20.0, wind_m_s: float = 4.0, steps_per_hour: int = 1
) -> Weather:
    """Return weather that never changes, at sea level, saturated over ice. It is invented."""
    n = hours * steps_per_hour
    step = np.timedelta64(3600 // steps_per_hour, "s")
    return Weather(
        file="steady.epw",
        sha256="",
        place="Nowhere (invented)",
        latitude_deg=46.5,
        longitude_deg=10.0,
        utc_offset_h=1.0,
        elevation_m=0.0,
        steps_per_hour=steps_per_hour,
        interval_start=np.datetime64("2017-01-01T00:00:00") + np.arange(n) * step,
        source_year=np.full(n, 2017),
        t_out_c=np.full(n, t_out_c),
        t_dew_c=np.full(n, t_out_c),
        rh_frac=np.ones(n),
        p_pa=np.full(n, 101325.0),
        wind_m_s=np.full(n, wind_m_s),
        global_horizontal_w_m2=np.full(n, 100.0),
        direct_normal_w_m2=np.full(n, np.nan),
        diffuse_horizontal_w_m2=np.full(n, np.nan),
        infrared_w_m2=np.full(n, np.nan),
        wraps=True,
        design=(),
        filled={},
        notes=("steady weather",),
    )


def build(weather: Weather | None = None, **changes: object) -> HourlyCase:
    """Return the case of `NUMBERS` with changes, in steady weather unless given; None removes."""
    numbers = {k: v for k, v in {**NUMBERS, **changes}.items() if v is not None}
    return House.model_validate(numbers).case(weather=weather or steady(), folder=HERE)


@pytest.fixture(scope="module")
def valley() -> Weather:
    return read_epw(LARCH_VALLEY)


def test_steady_winter_worked_by_hand() -> None:
    # 1200 m3/h at 50 Pa, n 0.65: 250.0 cm² at 4 Pa. Two storeys, class 3, 40 K, 4 m/s: 0.03092 m3/s
    # (both computed from the stated formulas). Saturated air of -20 °C at 101325 Pa holds
    # 0.6345 g/kg, and dry air is 101325/(287.042 x 253.15 x 1.00102) = 1.3930 kg/m3.
    case = build()

    flow_kg_s = 0.03092 * 1.3930
    assert case.w_out_kg_kg == pytest.approx(0.6345e-3, rel=1e-4)
    assert case.t_air_c == pytest.approx(20.0)
    assert case.exchange_kg_s == pytest.approx(flow_kg_s, rel=1e-3)
    # Heat: (190 + 0.04307 x 1007.2) x 40 W, less 4 W/m2 of 160 m2.
    assert case.heating_w == pytest.approx((190.0 + flow_kg_s * 1007.2) * 40.0 - 640.0, rel=1e-3)
    # Dry air of 430 m3 at 20 °C and 35 %, 5.066 g/kg: 430 x 101325/(287.042 x 293.15 x 1.00815).
    assert case.dry_air_kg == pytest.approx(430.0 * 1.1944, rel=1e-3)
    # Half of ANSI/ASHRAE 160's 14 kg a day, for two days.
    assert case.gains_kg_s.sum() * 3600.0 == pytest.approx(2 * 7.0, rel=1e-12)


def test_the_balance_gets_what_it_needs() -> None:
    case = build()

    assert not case.departure
    assert not case.cooling.any()
    assert case.w_base_kg_kg.tolist() == [0.0] * 48
    assert (case.buffer_kg_s, case.buffer_kg, case.buffer_on_rh) == (0.0, 0.0, False)
    assert case.air_system is None
    assert case.wraps
    assert case.latitude_deg == 46.5
    assert case.humidity_reading == "frost_point"
    assert case.title == "house of 160 m² in Nowhere (invented)"


def test_recovery_acts_on_moisture_and_heat_apart() -> None:
    # Fans of 40 l/s at 20 °C move 0.040 x 1.1944 kg/s of the room's air, at 35 %, and of outdoor
    # air 0.040 x 1.2029: the smaller is balanced, and what is over, 0.3 g/s, adds less than 1e-4 to
    # the leakage in quadrature.
    fans = {"supply_l_s": 40.0, "exhaust_l_s": 40.0}
    plain = build(ventilation=fans)
    moist = build(ventilation={**fans, "latent_effectiveness": 0.5})
    warm = build(ventilation={**fans, "sensible_effectiveness": 0.8})

    fan_kg_s = 0.040 * 1.1944
    leak_kg_s = build().exchange_kg_s
    assert plain.exchange_kg_s == pytest.approx(leak_kg_s + fan_kg_s, rel=1e-4)
    assert moist.exchange_kg_s == pytest.approx(leak_kg_s + 0.5 * fan_kg_s, rel=1e-4)
    assert moist.heating_w == pytest.approx(plain.heating_w)
    assert warm.exchange_kg_s == pytest.approx(plain.exchange_kg_s)
    assert plain.heating_w - warm.heating_w == pytest.approx(
        0.8 * fan_kg_s * 1007.2 * 40.0, rel=1e-3
    )


RECOVERY = {
    "supply_l_s": 40.0,
    "exhaust_l_s": 40.0,
    "latent_effectiveness": 0.5,
    "sensible_effectiveness": 0.8,
}


def test_a_defrost_by_recirculation_ventilates_less_worked_by_hand() -> None:
    # -20 °C between (-27, 0.23) and (-5, 0.09): 0.23 - 0.14 x 7/22 = 0.18545 of the time.
    share = 0.18545
    fan_kg_s, leak_kg_s = 0.040 * 1.1944, 0.03092 * 1.3930

    case = build(ventilation={**RECOVERY, "defrost_below_c": -5.0})

    # Leakage all the time; of the fans' air 0.5 of the moisture and 0.2 of the heat while it runs.
    assert case.exchange_kg_s == pytest.approx(leak_kg_s + (1.0 - share) * 0.5 * fan_kg_s, rel=1e-3)
    loss_w_k = 190.0 + 1007.2 * (leak_kg_s + (1.0 - share) * 0.2 * fan_kg_s)
    assert case.heating_w == pytest.approx(loss_w_k * 40.0 - 640.0, rel=1e-3)


def test_a_defrost_with_the_supply_off_draws_cold_air_through_leaks_worked_by_hand() -> None:
    fan_kg_s, leak_kg_s = 0.040 * 1.1944, 0.03092 * 1.3930
    keys = {"defrost_below_c": "14 degF", "defrost": "supply_off", "defrost_points": [[-10, 0.25]]}

    case = build(ventilation={**RECOVERY, **keys})

    # Exhaust alone adds in quadrature, and nothing is recovered of it.
    off_kg_s = np.hypot(leak_kg_s, fan_kg_s)
    assert case.exchange_kg_s == pytest.approx(
        0.75 * (leak_kg_s + 0.5 * fan_kg_s) + 0.25 * off_kg_s, rel=1e-3
    )
    loss_w_k = 190.0 + 1007.2 * (0.75 * (leak_kg_s + 0.2 * fan_kg_s) + 0.25 * off_kg_s)
    assert case.heating_w == pytest.approx(loss_w_k * 40.0 - 640.0, rel=1e-3)


def test_defrost_is_of_the_hours_below_its_temperature_and_told() -> None:
    weather = steady(48, t_out_c=-20.0)
    weather.t_out_c.flags.writeable = True
    weather.t_out_c[24:] = -2.0
    without, with_it = (
        build(weather, ventilation={**RECOVERY, **keys}) for keys in ({}, {"defrost_below_c": -8})
    )

    # The first hour of a day is half the other's: -11 °C, below -8 °C too, twice in 48 h.
    cold = with_it.t_out_c < -8.0
    assert np.count_nonzero(cold) == 25
    assert np.array_equal(with_it.exchange_kg_s[~cold], without.exchange_kg_s[~cold])
    assert np.all(with_it.exchange_kg_s[cold] < without.exchange_kg_s[cold])
    assert without.notes[-1] == (
        "recovery without bypass or defrost: the same effectiveness all year, though 25 h are "
        "colder than -5 °C, where most units defrost (common practice, no source): give "
        "defrost_below_c"
    )
    # 23 h of 0.18545 at -20 °C, two of 0.09 + 0.14 x 6/22 at -11 °C: 4.5 h.
    assert with_it.notes[-1] == (
        "recovery without bypass; in 25 h below -8 °C outdoors it defrosts by recirculation, 5 h "
        "in all; the heat that thaws it is left out"
    )
    assert build(steady(t_out_c=3.0), ventilation=RECOVERY).notes[-1] == (
        "recovery without bypass or defrost: the same effectiveness all year"
    )
    off = {"defrost_below_c": -30, "defrost": "supply_off"}
    assert build(ventilation={**RECOVERY, **off}).notes[-1] == (
        "recovery without bypass; in 0 h below -30 °C outdoors it defrosts with the supply off, "
        "0 h in all; the heat that thaws it is left out"
    )


def test_an_exhaust_fan_adds_in_quadrature() -> None:
    case = build(ventilation={"exhaust_l_s": 30.0})

    fan_kg_s = 0.030 * 1.1944
    assert case.exchange_kg_s == pytest.approx(np.hypot(0.03092 * 1.3930, fan_kg_s), rel=1e-3)


def test_sun_through_the_aperture_saves_its_heat() -> None:
    # 100 W/m2 on 3 m2.
    saved_w = build().heating_w - build(solar_aperture_m2=3.0).heating_w

    assert saved_w == pytest.approx(300.0)


def test_moisture_can_be_stated_in_the_place_of_bedrooms() -> None:
    case = build(bedrooms=None, moisture_kg_day=4.5)

    assert case.gains_kg_s.sum() * 3600.0 == pytest.approx(2 * 4.5)


def test_a_buffer_becomes_store_and_conductance_on_relative_humidity() -> None:
    # The time constant is 24 h/(2 pi) = 3.82 h. From 33 to 75 % the test moves 300 x 0.5 g x 42 =
    # 6.3 kg, 0.865 of what the store would take up; at 20 °C W changes by 10.96 - 4.77 = 6.19 g/kg
    # (vapour pressures 1754.1 and 771.8 Pa of 101325 Pa): 6.3/(0.865 x 0.00619) = 1176 kg.
    case = build(buffer={"area_m2": 300.0, "moisture_buffer_value_g_m2_rh": 0.5})

    assert case.buffer_on_rh
    assert case.buffer_kg / case.buffer_kg_s / 3600.0 == pytest.approx(3.8197, rel=1e-4)
    assert case.buffer_kg == pytest.approx(1176.0, rel=2e-3)  # rounding of the numbers above


def test_a_furnace_limits_the_heat_and_brings_ducts() -> None:
    furnace = {"kind": "furnace", "capacity_kw": 9.0, "airflow_l_s": 300.0}
    case = build(heating=furnace)

    needed_w = build().heating_w.max()
    assert needed_w == pytest.approx(8694.0, rel=1e-3)
    assert case.air_system is not None
    assert case.air_system.heat_frac == pytest.approx(needed_w / 9000.0)
    small = build(heating={**furnace, "capacity_kw": 6.0})
    assert small.heating_w.max() == 6000.0
    # 6000 + 640 W over the loss coefficient of about 233 W/K, below 20 °C.
    assert small.t_air_c.max() < 20.0


def test_how_a_former_key_of_the_plant_was_read_is_a_note_of_the_case() -> None:
    heating = {"capacity_kw": 9.0, "airflow_l_s": 300.0, "turn_down": 4.0}

    case = build(heating={**heating, "cycles_per_h": 4.0})

    (note,) = (note for note in case.notes if "most_cycles_per_h" in note)
    assert note == (
        "heating.cycles_per_h = 4 is taken as most_cycles_per_h, the firings in an hour at half "
        "load: it was a fixed rate, and there are fewer at other loads"
    )


def test_a_part_of_a_case_has_its_plant_at_another_load() -> None:
    # 9 kW that modulate down to a quarter: 4.5 kW are half of it, all the time.
    case = build(heating={"capacity_kw": 9.0, "airflow_l_s": 300.0, "turn_down": 4.0})

    part = case.between(3, 9).air_system

    assert part is not None
    asked = part.at_load(np.full((2, 6), 4500.0))
    assert asked.output_w == pytest.approx(np.full((2, 6), 4500.0))
    assert asked.heat_frac == pytest.approx(np.ones((2, 6)))


@pytest.mark.parametrize("steps_per_hour", [1, 4])
def test_night_set_back_follows_the_clock_across_midnight(steps_per_hour: int) -> None:
    thermostat = {"day_c": 21.0, "night_c": 17.0, "night_from_h": 22.0, "night_to_h": 6.0}
    house = House.model_validate({**NUMBERS, "thermostat": thermostat})

    setting = house.thermostat.setting(steady(24, steps_per_hour=steps_per_hour).interval_start)

    by_hour = setting.reshape(24, steps_per_hour)
    assert np.all(by_hour[:6] == 17.0)
    assert np.all(by_hour[6:22] == 21.0)
    assert np.all(by_hour[22:] == 17.0)


def test_a_set_back_within_one_day_does_not_wrap() -> None:
    thermostat = {"night_c": 17.0, "night_from_h": 9.0, "night_to_h": 15.0}
    house = House.model_validate({**NUMBERS, "thermostat": thermostat})

    setting = house.thermostat.setting(steady(24).interval_start)

    assert np.flatnonzero(setting == 17.0).tolist() == list(range(9, 15))


def test_mechanical_cooling_labels_its_hours() -> None:
    case = build(steady(t_out_c=32.0), thermostat={"cooling_c": 26.0})

    assert case.cooling.all()
    assert case.t_air_c.max() <= 26.0 + 1e-9


def test_a_year_in_the_demo_valley_closes_its_sums(valley: Weather) -> None:
    case = build(valley, buffer={"area_m2": 300.0, "moisture_buffer_value_g_m2_rh": 0.5})

    assert case.n_hours == 8760
    assert case.gains_kg_s.sum() * 3600.0 == pytest.approx(365 * 7.0, rel=1e-12)
    # States of the file are instants at the end of an hour: the model takes the interval means.
    assert case.t_out_c[100] == pytest.approx(0.5 * (valley.t_out_c[99] + valley.t_out_c[100]))
    w_out = air.humidity_ratio(air.saturation_pressure(valley.t_dew_c), valley.p_pa)
    np.testing.assert_array_equal(case.w_out_kg_kg, interval_mean(w_out, wraps=True))
    # The heat of the year is what is lost less what is gained, and what the room stores at the
    # year's end more than at its start: nothing, as it is at the thermostat both times.
    cp = air.CP_DRY_AIR + air.CP_VAPOUR * case.w_out_kg_kg
    lost_w = (190.0 + cp * case.exchange_kg_s) * (case.t_air_c - case.t_out_c)
    # The exchange is that of the room's final temperature, the heat was found with the one before:
    # they differ by less than 1e-5 (see the test of the passes).
    assert case.heating_w.sum() == pytest.approx(lost_w.sum() - 8760 * 640.0, rel=1e-5)
    assert case.t_air_c.min() >= 20.0 - 1e-9
    assert 0.05 < case.exchange_kg_s.mean() * 3600.0 / case.dry_air_kg < 0.5  # changes an hour


def test_the_mean_of_the_year_is_the_density_of_the_room(valley: Weather) -> None:
    case = build(valley)

    at_35 = air.humidity_ratio(0.35 * air.saturation_pressure(case.t_air_c), case.p_pa)
    density = air.dry_air_density(case.t_air_c, at_35, case.p_pa)
    assert case.dry_air_kg == pytest.approx(430.0 * density.mean(), rel=1e-12)
    # The standard atmosphere at 1450 m has 84.0 % of the pressure at sea level; weather and water
    # vapour move the mean by less than 2 %.
    assert case.dry_air_kg / 430.0 == pytest.approx(0.840 * 1.2041, rel=0.02)


def test_two_passes_settle_temperature_and_exchange(
    valley: Weather, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Set-back and an unlimited heating: the strongest coupling that the model has.
    thermostat = {"night_c": 15.0}
    two = build(valley, thermostat=thermostat)
    monkeypatch.setattr(house_module, "EXCHANGE_PASSES", 6)
    six = build(valley, thermostat=thermostat)

    # One pass leaves 0.2 % and 0.03 K; far below what any result prints is asked of two.
    np.testing.assert_allclose(two.exchange_kg_s, six.exchange_kg_s, rtol=1e-5)
    np.testing.assert_allclose(two.t_air_c, six.t_air_c, rtol=0.0, atol=1e-3)


@pytest.mark.parametrize("reading", ["dew_point", "relative_humidity"])
def test_the_reading_of_outdoor_humidity_can_be_chosen(reading: str, valley: Weather) -> None:
    case = build(valley, humidity_reading=reading)

    assert case.humidity_reading == reading
    np.testing.assert_array_equal(
        case.w_out_kg_kg, interval_mean(valley.humidity_ratio(reading), wraps=True)
    )


@pytest.mark.slow
def test_quantities_may_carry_units() -> None:
    given = House.model_validate(
        {**NUMBERS, "volume_m3": "15000 ft^3", "thermostat": {"day_c": "68 degF"}}
    )

    assert given.volume_m3 == pytest.approx(424.75, abs=0.01)  # 15000 x 0.028316847
    assert given.thermostat.day_c == pytest.approx(20.0)


def test_a_house_without_weather_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        House.model_validate(NUMBERS).case(weather=None, folder=HERE)

    assert str(caught.value) == "space.house: needs a [weather] file"


def test_sun_without_radiation_in_the_file_is_refused() -> None:
    weather = steady()
    weather.global_horizontal_w_m2.flags.writeable = True
    weather.global_horizontal_w_m2[:5] = np.nan

    with pytest.raises(InputError) as caught:
        build(weather, solar_aperture_m2=2.0)

    assert str(caught.value) == (
        "steady.epw: space.house: solar_aperture_m2: needs global radiation, which is missing in "
        "5 rows (leave solar_aperture_m2 out)"
    )
    assert np.isfinite(build(weather).heating_w).all()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        pytest.param(
            {"bedrooms": None}, "give bedrooms or moisture_kg_day", id="no source of moisture"
        ),
        pytest.param(
            {"moisture_kg_day": 5.0, "gains_factor": 1.0},
            "gains_factor acts on the rate by bedrooms and would be ignored beside "
            "moisture_kg_day: leave one out",
            id="a factor that would be ignored",
        ),
        pytest.param(
            {"ventilation": {"exhaust_l_s": 30.0, "latent_effectiveness": 0.5}},
            "recovery needs both supply_l_s and exhaust_l_s",
            id="recovery from one fan",
        ),
        pytest.param(
            {"ventilation": {"supply_l_s": 30.0, "exhaust_l_s": 30.0, "defrost_below_c": -5.0}},
            "defrost_below_c is of a recovery: give sensible_effectiveness or latent_effectiveness",
            id="defrost of no recovery",
        ),
        pytest.param(
            {"ventilation": {**RECOVERY, "defrost": "supply_off"}},
            "defrost needs defrost_below_c",
            id="how it defrosts, but not when",
        ),
        pytest.param(
            {"ventilation": {**RECOVERY, "defrost_points": [[-10, 0.2]]}},
            "defrost_points needs defrost_below_c",
            id="how long it defrosts, but not when",
        ),
        pytest.param(
            {
                "ventilation": {
                    **RECOVERY,
                    "defrost_below_c": -5.0,
                    "defrost_points": [[-5, 0.1], [-20, 0.2]],
                }
            },
            "outdoor temperatures must rise from point to point, got -5 before -20",
            id="points out of order",
        ),
        pytest.param(
            {
                "ventilation": {
                    **RECOVERY,
                    "defrost_below_c": -5.0,
                    "defrost_points": [[-5, 10]],
                }
            },
            "Input should be less than or equal to 1",
            id="a share in per cent",
        ),
        pytest.param(
            {"thermostat": {"cooling_c": 19.0}},
            "cooling_c must be above what is heated to, 20 °C, got 19",
            id="cooling below heating",
        ),
        pytest.param({"storeys": 4}, "Input should be 1, 2 or 3", id="four storeys"),
        pytest.param({"shelter_clas": 3}, "Extra inputs are not permitted", id="unknown key"),
        pytest.param(
            {"leakage_m3_h_at_50pa": -1.0}, "Input should be greater than 0", id="negative leakage"
        ),
    ],
)
def test_what_cannot_be_meant_is_refused(changes: dict[str, object], message: str) -> None:
    with pytest.raises(ValidationError) as caught:
        build(**changes)

    assert message in str(caught.value)


@pytest.mark.parametrize("part", [House, Thermostat, Ventilation])
def test_every_default_says_where_it_comes_from(part) -> None:
    for name, field in part.model_fields.items():
        if not field.is_required() and name not in ("thermostat", "ventilation"):
            assert "default: " in (field.description or ""), name
