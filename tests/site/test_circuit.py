"""The 24 V circuit: printed wire, budgets on paper, and rules that flip with their input."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import references
from dewmargin.errors import InputError
from dewmargin.site import circuit
from dewmargin.site.circuit import Load

# The example of the basis: 39 VA of a transformer of 40.
LOADS = [
    Load("thermostat", 3.0),
    Load("gas valve", 10.0),
    Load("relay", 6.0),
    Load("contactor", 8.0, 32.0),
    Load("humidifier", 12.0),
]
TRADE = "common practice, no source"
WIRE = references.rows("wire")
loads = st.lists(
    st.builds(lambda va, more: Load("load", va, va + more), st.floats(0.0, 50.0), st.floats(0, 99)),
    min_size=1,
    max_size=6,
)


@pytest.mark.parametrize("row", WIRE, ids=lambda row: f"AWG {row['awg']}")
def test_wire_agrees_with_the_tables(row) -> None:
    awg = int(row["awg"])
    mohm_m = 1e3 * circuit.wire_ohm_m(awg)

    assert mohm_m == pytest.approx(float(row["mohm_m"]), rel=0.005)
    assert circuit.COPPER_OHM_M * 1e9 / mohm_m == pytest.approx(float(row["area_mm2"]), rel=0.005)
    # The public table is of warmer wire: 2 % more, and 1 % for its rounding.
    per_1000_ft = float(row["table_ohm_1000_ft"]) / 304.8 * 1e3
    assert mohm_m == pytest.approx(per_1000_ft, rel=0.03)
    for current, column in ((0.25, "0_25"), (0.5, "0_5"), (0.83, "0_83")):
        got = circuit.voltage_drop_v(30.0, awg, current)
        assert got == pytest.approx(float(row[f"drop_at_{column}_a"]), abs=0.0051)
    assert circuit.longest_run_m(awg, 0.5) == pytest.approx(
        float(row["longest_m_at_0_5_a"]), abs=0.5
    )


@given(awg=st.integers(10, 30), current=st.floats(0.01, 5.0))
def test_the_longest_run_loses_a_tenth(awg, current) -> None:
    longest = circuit.longest_run_m(awg, current)

    assert circuit.voltage_drop_v(longest, awg, current) == pytest.approx(2.4)


def test_the_example_fails_the_rule_of_80_percent() -> None:
    held, inrush = circuit.budget(LOADS, 40.0)

    assert circuit.running_va(LOADS) == 39.0
    assert (held.severity, held.source) == ("fix", TRADE)
    assert held.what == "loads take 39 of 40 VA (97.5 %): more than 80 %"
    assert (inrush.severity, inrush.what) == ("note", "pulling in takes 63 VA of 40 VA")


@pytest.mark.parametrize(
    ("rated_va", "severities", "what"),
    [
        (30.0, ["fix", "note"], "loads take 39 of 30 VA (130.0 %): overloaded"),
        (48.0, ["fix", "note"], "loads take 39 of 48 VA (81.2 %): more than 80 %"),
        (50.0, ["fine", "note"], "loads take 39 of 50 VA (78.0 %)"),
        (75.0, ["fine", "fine"], "loads take 39 of 75 VA (52.0 %)"),
    ],
)
def test_a_larger_transformer_carries_more(rated_va, severities, what) -> None:
    found = circuit.budget(LOADS, rated_va)

    assert [each.severity for each in found] == severities
    assert found[0].what == what


def test_a_transformer_of_40_va_gives_1_67_a() -> None:
    assert circuit.check_circuit(LOADS, rated_va=40.0).numbers["rated_a"] == pytest.approx(
        1.67, abs=0.005
    )


@given(loads=loads)
def test_the_peak_is_one_inrush_above_running(loads) -> None:
    running, peak = circuit.running_va(loads), circuit.peak_va(loads)

    assert peak >= running
    assert any(
        peak == pytest.approx(running - each.va + each.inrush_va, abs=1e-9) for each in loads
    )


# Common practice, no source: own transformer, or a shared one whose budget is shown to hold.
@pytest.mark.parametrize(
    ("shared", "rated_va", "valve_va", "severity", "what"),
    [
        (False, 40.0, 12.0, "fine", "the humidifier has its own transformer"),
        (True, 50.0, 12.0, "fine", "the humidifier shares a transformer whose budget holds"),
        (
            True,
            40.0,
            12.0,
            "fix",
            "the humidifier shares a transformer: its budget does not hold",
        ),
        (True, 75.0, 16.0, "fix", "the humidifier shares a transformer: its valve takes 16 VA"),
    ],
)
def test_a_humidifier_has_its_own_transformer_or_a_shown_budget(
    shared, rated_va, valve_va, severity, what
) -> None:
    found = circuit.transformer(LOADS, rated_va, shared=shared, valve_va=valve_va)

    assert (found.severity, found.what, found.source) == (severity, what, TRADE)


# Common practice, no source: two conductors for a single-stage unit; six leave spares.
@pytest.mark.parametrize(
    ("cable", "uses", "severity", "what"),
    [
        (6, ["outdoor_unit_single_stage"], "fine", "2 conductors needed of 6: 4 spare"),
        (
            6,
            ["outdoor_unit_single_stage", "outdoor_sensor"],
            "fine",
            "4 conductors needed of 6: 2 spare",
        ),
        (2, ["outdoor_unit_single_stage"], "note", "2 conductors needed of 2: no spare"),
        (
            2,
            ["outdoor_unit_single_stage", "outdoor_sensor"],
            "fix",
            "4 conductors needed of 2: 2 missing",
        ),
        (2, ["outdoor_unit_two_stage"], "fix", "3 conductors needed of 2: 1 missing"),
    ],
)
def test_a_cable_has_the_conductors_and_spares(cable, uses, severity, what) -> None:
    found = circuit.conductors(cable, uses)[0]

    assert (found.severity, found.what, found.source) == (severity, what, TRADE)


def test_a_sensor_beside_coils_is_told_of() -> None:
    beside = circuit.conductors(6, ["valve", "outdoor_sensor"])[1]
    apart = circuit.conductors(6, ["humidistat", "outdoor_sensor"])[1]

    assert (beside.severity, apart.severity) == ("note", "fine")


# Common practice, no source.
@pytest.mark.parametrize(
    ("live_only", "must", "severity"),
    [(True, True, "fix"), (True, False, "fine"), (False, True, "fine")],
)
def test_a_terminal_that_lives_by_the_blower_cannot_call_it(live_only, must, severity) -> None:
    found = circuit.blower_call(terminal_live_only_with_blower=live_only, must_start_blower=must)

    assert (found.severity, found.source) == (severity, TRADE)


# Common practice, no source.
def test_the_outdoor_units_240_v_is_isolated_before_its_cover_comes_off() -> None:
    live, dead = circuit.outdoor_unit(isolated=False), circuit.outdoor_unit(isolated=True)

    assert (live.severity, dead.severity) == ("stop", "fine")
    assert live.source == dead.source == TRADE


@pytest.mark.parametrize(
    ("va", "volts", "severity"), [(100.0, 30.0, "fine"), (101.0, 24.0, "fix"), (40.0, 31.0, "fix")]
)
def test_class_2_has_limits(va, volts, severity) -> None:
    assert circuit.class_2(va, volts).severity == severity


@pytest.mark.parametrize(("length_m", "severity"), [(114.0, "fine"), (115.0, "fix")])
def test_a_long_run_loses_too_much(length_m, severity) -> None:
    assert circuit.cable(length_m, 18, 0.5).severity == severity


def test_a_check_has_all_of_it_and_its_cautions() -> None:
    done = circuit.check_circuit(
        LOADS,
        rated_va=40.0,
        shared=True,
        length_m=30.0,
        cable_conductors=6,
        uses=["outdoor_unit_single_stage"],
        live_only_with_blower=True,
        isolated=False,
    )

    assert [each.severity for each in done.findings] == [
        "fine", "fix", "note", "fix", "fine", "fine", "fix", "stop"
    ]  # fmt: skip
    assert done.numbers["drop_v"] == pytest.approx(0.63, abs=0.005)
    assert "prove dead" in done.cautions[0]
    assert done.cautions[-1].startswith("Local code")


@pytest.mark.parametrize(
    ("text", "load"),
    [("relay=6", Load("relay", 6.0)), ("contactor=8/32", Load("contactor", 8.0, 32.0))],
)
def test_a_load_is_read(text, load) -> None:
    assert Load.parse(text) == load


@pytest.mark.parametrize(
    ("refused", "text"),
    [
        (lambda: Load.parse("relay"), "load: cannot be read: 'relay' (such as contactor=8/32)"),
        (lambda: Load.parse("=6"), "load: cannot be read: '=6' (such as contactor=8/32)"),
        (lambda: Load.parse("a=1/2/3"), "load: cannot be read: 'a=1/2/3' (such as contactor=8/32)"),
        (
            lambda: Load.parse("relay=nan"),
            "load relay: va: must be between 0 and 10000, got nan",
        ),
        (
            lambda: Load.parse("relay=6/3"),
            "load relay: inrush_va: must be between 6 and 100000, got 3",
        ),
        (
            lambda: circuit.check_circuit([], rated_va=40.0),
            "load: none is given (such as thermostat=3)",
        ),
        (lambda: circuit.wire_ohm_m(50), "cable: awg: must be between 0 and 36, got 50"),
        (
            lambda: circuit.conductors(6, ["radio"]),
            (
                "cable: uses: 'radio' is not known (one of: valve, airflow_switch, humidistat, "
                "outdoor_sensor, outdoor_unit_single_stage, outdoor_unit_two_stage)"
            ),
        ),
    ],
)
def test_what_cannot_be_is_refused(refused, text) -> None:
    with pytest.raises(InputError) as caught:
        refused()

    assert str(caught.value) == text
