"""The contract checks: every built-in keeps the rules, and bad extensions are caught by name."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import count
from typing import ClassVar, Literal

import numpy as np
import pytest

from dewmargin import testing
from dewmargin.contracts import Capability, Mode, Reading, SiteAnswer, Use, WhileWet
from dewmargin.core import extensions
from dewmargin.errors import ExtensionError
from dewmargin.inputs import Inputs
from dewmargin.studies.demo import demo_folder
from dewmargin.testing_cases import cold_weeks
from dewmargin.weather.epw import read_epw

DEMO = demo_folder()
HUMIDIFIED = ("always", "heating", "humidity", "blower")
SECONDS = count()  # never the same twice
ROOM = "time,Tout,Wout,p,Troom,Wroom,flow\n" + "".join(
    f"2021-01-05 {hour:02d}:00,{hour - 12},0.002,95000,20,0.005,0.04\n" for hour in range(24)
)
# Every built-in in one or more settings; one that is missing here fails the first test.
BUILT_IN: dict[str, dict[str, list[dict[str, object]]]] = {
    "strategy": {
        "constant": [{"rh": 0.35}],
        "outdoor_reset": [{"points": [[-20, 0.2], [5, 0.4]]}],
        "dew_point": [{"dew_point_c": 4.0}, {"dew_point_c": -3.0}],
        "schedule": [
            {"rh": 0.35, "periods": [{"rh": 0.25, "from_h": 22, "to_h": 6}]},
            {"rh": 0.30, "periods": [{"rh": 0.40, "days": ["sat"], "from_date": "12-01"}]},
        ],
        "surface_limit": [{}, {"surfaces": ["glass"], "margin_rh": 0.05, "while_film": {}}],
    },
    "equipment": {
        "fixed_rate": [{"rate_kg_h": 2.0, "call": c, "feed_ratio": 1.5} for c in HUMIDIFIED],
        "wetted_pad": [
            {"effectiveness": 0.65, "airflow_kg_s": 0.09, "feed_kg_h": 15.0, "call": c}
            for c in HUMIDIFIED[1:]
        ],
        "steam": [{"heat": "electrode", "rate_kg_h": 3.0, "call": c} for c in HUMIDIFIED]
        + [{"heat": "gas", "rate_kg_h": 3.0, "power_w": 50.0, "standby_w": 5.0}],
        "atomiser": [
            {"spray": "ultrasonic", "rate_kg_h": 2.0},
            {"spray": "nozzle", "rate_kg_h": 2.0, "call": "heating"},
        ],
    },
    "report": {"parquet": [{}], "csv": [{}, {"hourly": True}], "page": [{}]},
    "reader": {
        "house": [
            {
                "floor_area_m2": 165,
                "volume_m3": 430,
                "storeys": 2,
                "leakage_m3_h_at_50pa": 1100,
                "heat_loss_w_k": 190,
                "bedrooms": 3,
            }
        ],
        "simulation": [{"results": "scenarios/model/larch_house.sql"}],
        "table": [
            {
                "file": "room.csv",
                "columns": {
                    "time": "time",
                    "t_out_c": "Tout",
                    "w_out_kg_kg": "Wout",
                    "p_pa": "p",
                    "t_air_c": "Troom",
                    "w_kg_kg": "Wroom",
                    "exchange_kg_s": "flow",
                },
                "label": "start",
                "volume_m3": 300.0,
            }
        ],
    },
}
CHECKS = {
    "strategy": testing.check_strategy,
    "equipment": testing.check_equipment,
    "report": testing.check_report,
}


@pytest.mark.parametrize("kind", extensions.GROUPS)
def test_every_built_in_is_checked_here(kind: str) -> None:
    ours = {
        e.name for e in extensions.installed() if (e.kind, e.distribution) == (kind, "dewmargin")
    }

    assert set(BUILT_IN[kind]) == ours


@pytest.mark.parametrize(
    ("kind", "name", "keys"),
    [
        pytest.param(kind, name, keys, id=f"{kind} {name} {i}")
        for kind in CHECKS
        for name, settings in BUILT_IN[kind].items()
        for i, keys in enumerate(settings)
    ],
)
def test_a_built_in_keeps_the_rules(kind: str, name: str, keys: dict[str, object]) -> None:
    named = {} if kind == "report" else {"name": name}

    CHECKS[kind](extensions.load(kind, name)(**named, **keys))


@pytest.mark.slow
@pytest.mark.parametrize("name", BUILT_IN["reader"])
def test_a_built_in_reader_keeps_the_rules(name: str, tmp_path) -> None:
    (tmp_path / "room.csv").write_text(ROOM, encoding="utf-8")
    weather = read_epw(DEMO / "weather" / "larch_valley.epw")
    for keys in BUILT_IN["reader"][name]:
        reader = extensions.load("reader", name)(**keys)

        testing.check_reader(reader, folder=tmp_path if name == "table" else DEMO, weather=weather)


def test_the_invented_cases_ask_for_everything() -> None:
    """A rule is worth nothing on a case that cannot break it."""
    for case in cold_weeks():
        assert case.t_out_c.min() < -20.0
        assert case.t_out_c.max() > 15.0
        assert 0 < np.count_nonzero(case.cooling) < 0.1 * case.n_steps
        assert {s.name for s in case.surfaces} == {"glass", "frame"}
        assert case.air_system.heat_frac.min() == 0.0 < case.air_system.heat_frac.max() < 1.0


# --- strategies -------------------------------------------------------------------------------


class Good(Inputs):
    """What the bad ones are made of."""

    name: str = "good"
    rule: Literal["good"] = "good"
    horizon_h: ClassVar[float] = 0.0

    def setpoint(self, case):
        return np.full(case.n_steps, 0.35)


class Scalar(Good):
    def setpoint(self, case):
        return 0.35


class Percent(Good):
    def setpoint(self, case):
        return np.full(case.n_steps, 35.0)


class Unknown(Good):
    def setpoint(self, case):
        return np.where(case.t_out_c < -20.0, np.nan, 0.35)


class Moody(Good):
    def setpoint(self, case):
        return np.full(case.n_steps, 0.3 + 0.001 * (next(SECONDS) % 7))


class Prophet(Good):
    def setpoint(self, case):
        return np.where(np.roll(case.t_out_c, -6) < -10.0, 0.2, 0.4)


class Forecaster(Good):
    """Says that it looks 3 h ahead and takes 6."""

    horizon_h: ClassVar[float] = 3.0

    def setpoint(self, case):
        t_c = np.append(case.t_out_c, np.full(6 * case.steps_per_hour, case.t_out_c[-1]))
        return np.where(t_c[6 * case.steps_per_hour :] < -10.0, 0.2, 0.4)


class DayPlanner(Good):
    """Takes the day's mean, the afternoon's weather in the morning: hidden from a cut at noon."""

    def setpoint(self, case):
        day = case.interval_start.astype("datetime64[D]")
        means = {d: case.t_out_c[day == d].mean() for d in np.unique(day)}
        return np.array([0.2 if means[d] < -10.0 else 0.4 for d in day])


class Vandal(Good):
    def setpoint(self, case):
        case.surfaces[0].t_surface_c[:] -= 1.0
        return np.full(case.n_steps, 0.35)


class Nameless(Good):
    name: str = " "
    horizon_h: ClassVar[float] = -1.0


class Crash(Good):
    def setpoint(self, case):
        raise KeyError("occupancy")


class HalfBlind(Good):
    """Fails on a part of a year."""

    def setpoint(self, case):
        return np.full(336 * case.steps_per_hour, 0.35)[: case.n_steps] + 0 * case.t_out_c[335]


class Soaked(Good):
    def while_wet(self, case):
        return WhileWet(rh_frac=np.full(case.n_steps, 1.2), surfaces=("roof",), above_g_m2=-1.0)


class Damp(Good):
    def while_wet(self, case):
        return np.full(case.n_steps, 0.2)


class FilmProphet(Good):
    def while_wet(self, case):
        return WhileWet(
            rh_frac=np.where(np.roll(case.t_out_c, -6) < -10.0, 0.0, 0.3),
            surfaces=("glass",),
            above_g_m2=0.0,
        )


class Everything:
    """Not even an input: no key, no name, no horizon."""

    def setpoint(self, case):
        return [0.35, 2.0]


class Nothing(Inputs):
    name: str = "nothing"


@pytest.mark.parametrize(
    ("strategy", "broken"),
    [
        (Scalar(), "give set-points as one number a step (float64 of shape () for 336)"),
        (Percent(), "give set-points from 0 to 1 (35 in step 0)"),
        (Unknown(), "give set-points as finite numbers (nan in step 40)"),
        (Moody(), "answer the same twice"),
        (Prophet(), "look no further ahead than its horizon_h of 0"),
        (Forecaster(), "look no further ahead than its horizon_h of 3"),
        (DayPlanner(), "look no further ahead than its horizon_h of 0"),
        (Vandal(), "leave the case as it is"),
        (Nameless(), "have a name (' '); must have a horizon_h of 0 or more hours (-1.0)"),
        (Crash(), "answer setpoint without an error (KeyError: 'occupancy')"),
        (
            HalfBlind(),
            (
                "answer setpoint on the first part of a case without an error (IndexError: "
                "index 335 is out of bounds for axis 0 with size 5)"
            ),
        ),
        (
            Soaked(),
            (
                "give set-points while wet from 0 to 1 (1.2 in step 0); must name surfaces of "
                "the case (roof); must have above_g_m2 of at least 0 (-1)"
            ),
        ),
        (Damp(), "answer while_wet with a WhileWet or None (ndarray)"),
        (FilmProphet(), "look no further ahead than its horizon_h of 0"),
        (
            Everything(),
            (
                "derive from dewmargin.inputs.Inputs; must have the key rule; must have a name "
                "(None); must have a horizon_h of 0 or more hours (None); must give set-points "
                "as one number a step (float64 of shape (2,) for 336)"
            ),
        ),
        (Nothing(), "have a method setpoint"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else "",
)
def test_a_bad_strategy_is_caught(strategy: object, broken: str) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_strategy(strategy)

    assert str(caught.value) == f"{type(strategy).__name__}: must {broken}"


def test_a_good_strategy_is_not_caught() -> None:
    testing.check_strategy(Good())


def test_a_strategy_may_be_asked_on_cases_of_its_own() -> None:
    house = cold_weeks()[0]

    with pytest.raises(ExtensionError, match="set-points from 0 to 1"):
        testing.check_strategy(Percent(), replace(house, surfaces=()))


# --- equipment --------------------------------------------------------------------------------


class Steady(Inputs):
    """What the bad ones are made of: a kilogram an hour, a tenth more is fed."""

    name: str = "steady"
    kind: Literal["steady"] = "steady"

    def capability(self, case, feed, **_: object):
        flat = np.ones(case.n_steps)
        return Capability(
            heat_frac=flat,
            heat=Mode(r0_kg_s=flat / 3600.0, r1_kg_s=0.0 * flat, feed=Use(per_kg=1.1)),
        )

    def changed(self, case, feed, **changes: object):
        return replace(Steady.capability(self, case, feed), **changes)

    def mode(self, case, water, **changes: object):
        heat = Steady.capability(self, case, water).heat
        return self.changed(case, water, heat=replace(heat, **changes))


class Short(Steady):
    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, r0_kg_s=np.ones(1))


class Thirsty(Steady):
    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, feed=Use(per_kg=0.5))


class Sponge(Steady):
    """Takes water from humid air: its line goes below 0 between the two humidities."""

    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, r1_kg_s=np.full(case.n_steps, 0.1))


class Overtime(Steady):
    def capability(self, case, feed, **_: object):
        return self.changed(case, feed, heat_frac=np.full(case.n_steps, 1.5))


class Infinite(Steady):
    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, r0_kg_s=np.full(case.n_steps, np.inf))


class Guesser(Steady):
    def capability(self, case, feed, **_: object):
        return self.changed(case, feed, standby_w=float(next(SECONDS)))


class Meddler(Steady):
    def capability(self, case, feed, **_: object):
        feed.t_cold_c[:] += 1.0
        return Steady.capability(self, case, feed)


class Demanding(Steady):
    def capability(self, case, feed, *, demand_kg_s, **_: object):
        return self.changed(case, feed, added_share=0.0 * demand_kg_s)


class Generator(Steady):
    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, electricity=Use(per_s=-500.0), fan=Use(per_s=np.ones(2)))


class Giver(Steady):
    def capability(self, case, feed, **_: object):
        return self.mode(case, feed, electricity=Use(per_kg=-500.0))


class Tap(Steady):
    def capability(self, case, feed, **_: object):
        return self.changed(
            case, feed, resting_feed_kg_s=-1.0, standby_w=-2.0, hot=np.ones(case.n_steps)
        )


class Dictionary(Steady):
    def capability(self, case, feed, **_: object):
        return {"rate_kg_h": 1.0}


@pytest.mark.parametrize(
    ("equipment", "broken"),
    [
        (Short(), "give heat.r0_kg_s as one number a step (float64 of shape (1,) for 336)"),
        (Thirsty(), "feed at least what evaporates (heat) (0.000138889 in step 0)"),
        (Sponge(), "give a heat rate of at least 0 (-7.33224e-05 in step 0)"),
        (Overtime(), "give heat_frac from 0 to 1 (1.5 in step 0)"),
        (Infinite(), "give heat.r0_kg_s as finite numbers (inf in step 0)"),
        (Guesser(), "answer the same twice"),
        (Meddler(), "leave the case as it is"),
        (
            Demanding(),
            (
                "answer capability without demand without an error (TypeError: unsupported "
                "operand type(s) for *: 'float' and 'NoneType')"
            ),
        ),
        (Generator(), "give heat.fan.per_s as one number or one a step ((2,))"),
        (Giver(), "use at least 0 (heat.electricity) (-0.138889 in step 0)"),
        (
            Tap(),
            (
                "have standby_w of at least 0 (-2); must have resting_feed_kg_s of at least 0 "
                "(-1); must give hot as one truth a step"
            ),
        ),
        (Dictionary(), "answer with a Capability (dict)"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else "",
)
def test_a_bad_equipment_is_caught(equipment: object, broken: str) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_equipment(equipment)

    assert str(caught.value) == f"{type(equipment).__name__}: must {broken}"


def test_a_good_equipment_is_not_caught() -> None:
    testing.check_equipment(Steady())


# --- what equipment says for the site ------------------------------------------------------------


def reading(**changes: object) -> Reading:
    good = {
        "key": "t_water_c",
        "what": "water",
        "how": "probe",
        "value": 20.0,
        "off": 2.0,
        "text": "20 °C (68 °F)",
        "tolerance": "±2 K",
    }
    return Reading(**(good | changes))


class Told(Steady):
    """Says for the site what it is made with."""

    said: ClassVar[object] = None

    def on_site(self, work, words):
        return self.said


def telling(**parts: object) -> Told:
    class Device(Told):
        said: ClassVar[object] = SiteAnswer(**parts)

        def on_site(self, work, words) -> SiteAnswer:
            return replace(self.said, readings=()) if work is None else self.said

    return Device()


class Restless(Told):
    def on_site(self, work, words):
        return SiteAnswer(readings=(reading(),))


class Converted(Told):
    """Gives other numbers to a reader of US customary units."""

    def on_site(self, work, words):
        value = 68.0 if words.units == "ip" else 20.0
        return SiteAnswer(readings=() if work is None else (reading(value=value),))


class Undecided(Told):
    def on_site(self, work, words):
        return SiteAnswer(fit=(f"Take {next(SECONDS)} of them.",))


class Unworked(Told):
    def on_site(self, work, words):
        return SiteAnswer(fit=(words.volume(work.feed_kg_h),))


@pytest.mark.parametrize(
    ("equipment", "broken"),
    [
        (Told(), "answer on_site with a SiteAnswer (NoneType)"),
        (telling(fit="Level it."), "give fit as a tuple of sentences ('Level it.')"),
        (telling(water=("",)), "give water as a tuple of sentences ('')"),
        (telling(cautions=("Hot.", None)), "give cautions as a tuple of sentences (None)"),
        (telling(placed=None), "give placed as a text (None)"),
        (telling(drain=("Drain.",)), "give drain as a text or None (('Drain.',))"),
        (telling(runs_on="no"), "give runs_on as a truth ('no')"),
        (telling(plenums_pa=-5.0), "give plenums_pa of at least 0, NaN or None (-5.0)"),
        (telling(plenums_pa="60 Pa"), "give plenums_pa of at least 0, NaN or None ('60 Pa')"),
        (
            telling(symptoms=("drain_hot", "smells")),
            "give symptoms as a tuple of known keys and of three texts ('smells')",
        ),
        (
            telling(symptoms=(("it hums", "loose"),)),
            "give symptoms as a tuple of known keys and of three texts (('it hums', 'loose'))",
        ),
        (telling(readings=[reading()]), f"give readings as a tuple of Reading ([{reading()!r}])"),
        (telling(readings=({"key": "x"},)), "give readings as a tuple of Reading ({'key': 'x'})"),
        (
            telling(readings=(reading(key="water"),)),
            "end the key of a reading in its unit ('water')",
        ),
        (telling(readings=(reading(key=3),)), "end the key of a reading in its unit (3)"),
        (
            telling(readings=(reading(key="valve_v"),)),
            "leave the readings of room and circuit alone ('valve_v')",
        ),
        (
            telling(readings=(reading(how=" ", tolerance=""),)),
            "say how of a reading ('t_water_c'); must say tolerance of a reading ('t_water_c')",
        ),
        (
            telling(readings=(reading(value=np.nan),)),
            (
                "give a reading as a finite number and by how much it may be off "
                "('t_water_c': nan ± 2.0)"
            ),
        ),
        (
            telling(readings=(reading(value="20 °C", off=-1.0),)),
            (
                "give a reading as a finite number and by how much it may be off "
                "('t_water_c': '20 °C' ± -1.0)"
            ),
        ),
        (
            telling(readings=(reading(), reading(value=30.0))),
            "give each reading a key of its own ('t_water_c')",
        ),
        (Restless(), "read nothing while it does not run"),
        (Converted(), "give the same numbers to readers of all units"),
        (Undecided(), "answer the same twice"),
        (
            Unworked(),
            (
                "answer on_site without an error (AttributeError: 'NoneType' object has no "
                "attribute 'feed_kg_h')"
            ),
        ),
    ],
)
def test_a_bad_answer_for_the_site_is_caught(equipment: object, broken: str) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_equipment(equipment)

    assert str(caught.value) == f"{type(equipment).__name__}: must {broken}"


def test_a_good_answer_for_the_site_is_not_caught() -> None:
    testing.check_equipment(
        telling(
            placed="level",
            drain="",
            plenums_pa=np.nan,
            readings=(reading(), reading(key="wet_frac", value=1)),
            symptoms=("drain_hot", ("it hums", "loose", "tighten it")),
        )
    )


class OtherPad(Steady):
    """What bad pads are made of."""

    arrangement: ClassVar[str] = "room"
    count: ClassVar[int] = 1
    face_area_m2: ClassVar[None] = None
    contact_frac: float = 1.0
    effectiveness: float = 0.6
    airflow_kg_s: float = 0.1
    feed_kg_h: float | None = None
    feed_ratio: float | None = 2.0

    def at_once(self, t_c, w_kg_kg, p_pa, feed_kg_h):
        return self.airflow_kg_s, self.effectiveness

    def wetted_frac(self, feed_kg_h):
        return 1.0

    def told_by(self, key):
        return ()


class Windless(OtherPad):
    def at_once(self, t_c, w_kg_kg, p_pa, feed_kg_h):
        return 0.0, 65.0


class Dry(OtherPad):
    def wetted_frac(self, feed_kg_h):
        return 0.0

    def told_by(self, key):
        return ("medium",)


class Keyless(Steady):
    """Has all but a key that a visit puts in."""

    arrangement: ClassVar[str] = "room"
    count: ClassVar[int] = 1
    face_area_m2: ClassVar[None] = None
    contact_frac: ClassVar[float] = 1.0
    effectiveness: float = 0.6
    airflow_kg_s: float = 0.1
    feed_kg_h: float = 3.0
    feed_ratio: ClassVar[None] = None
    at_once, wetted_frac, told_by = OtherPad.at_once, OtherPad.wetted_frac, OtherPad.told_by


@pytest.mark.parametrize(
    ("equipment", "broken"),
    [
        (
            Windless(),
            "have an airflow (0); must have an effectiveness from 0 to 1 (65)",
        ),
        (
            Dry(),
            "name keys of its own in told_by (medium); must give wetted_frac from 0 to 1 (0)",
        ),
        (Keyless(), "have the keys of a pad (contact_frac)"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_a_bad_pad_is_caught(equipment: object, broken: str) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_equipment(equipment)

    assert str(caught.value) == f"{type(equipment).__name__}: must {broken}"


def test_a_good_pad_is_not_caught() -> None:
    testing.check_equipment(OtherPad())
    testing.check_equipment(OtherPad(feed_kg_h=3.0, feed_ratio=None))


# --- readers and reports ----------------------------------------------------------------------


class Lost(Inputs):
    def case(self, **_: object):
        return cold_weeks()[0]

    def files(self, folder):
        return (folder / "lost.csv",)


class Tabular(Inputs):
    def case(self, **_: object):
        return {"t_out_c": next(SECONDS)}

    def files(self, folder):
        return ()


@pytest.mark.parametrize(
    ("reader", "broken"),
    [
        (Lost(), "name files that exist, as paths ('FOLDER/lost.csv')"),
        (Tabular(), "answer the same twice; must answer with an HourlyCase (dict)"),
    ],
    ids=["Lost", "Tabular"],
)
def test_a_bad_reader_is_caught(reader: object, broken: str, tmp_path) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_reader(reader, folder=tmp_path)

    expected = f"{type(reader).__name__}: must {broken}".replace("FOLDER", str(tmp_path))
    assert str(caught.value) == expected


class Note(Inputs):
    kind: Literal["note"] = "note"

    def files(self, tables, about):
        return {"note.txt": json.dumps(about, default=str).encode()}


class Escaping(Note):
    def files(self, tables, about):
        return {"../note.txt": b"", "comparison.csv": b"", "note.txt": "text"}


class Dated(Note):
    def files(self, tables, about):
        return {"note.txt": str(next(SECONDS)).encode()}


class Editor(Note):
    def files(self, tables, about):
        about["title"] = "mine"
        return {"note.txt": b""}


class Listing(Note):
    def files(self, tables, about):
        return ["note.txt"]


class Silent(Note):
    def files(self, tables, about):
        return {}


@pytest.mark.parametrize(
    ("report", "broken"),
    [
        (
            Escaping(),
            (
                "name a file in lower-case letters, digits, _ and -, then a dot and an ending "
                "of the same; no folder ('../note.txt'); must leave the names of our own files "
                "alone ('comparison.csv'); must make files of bytes ('note.txt': str)"
            ),
        ),
        (Dated(), "answer the same twice"),
        (Editor(), "leave the results as they are"),
        (Listing(), "answer with contents by file name (list)"),
        (Silent(), "make a file"),
    ],
    ids=lambda value: type(value).__name__ if not isinstance(value, str) else "",
)
def test_a_bad_report_is_caught(report: object, broken: str) -> None:
    with pytest.raises(ExtensionError) as caught:
        testing.check_report(report)

    assert str(caught.value) == f"{type(report).__name__}: must {broken}"


def test_a_good_report_is_not_caught() -> None:
    testing.check_report(Note())
