"""The commands of the checks on site: short plain lines, to be read on a phone."""

from __future__ import annotations

import datetime as dt
import json
import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable

    from dewmargin.site.commissioning import Measured
    from dewmargin.site.finding import SiteCheck

_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead.")


# Units as the conversion library spells them, where it differs from what is shown.
_SPELT = {
    "°C": "degC",
    "m2": "m**2",
    "Ω": "Ω",
    "min": "minute",
    "l/min": "L/min",
    "kg/h": "kg/hour",
}


def _read(text: str | float, unit: str) -> float:
    """Read a number in `unit`, or a text with another unit of the kind."""
    from dewmargin.inputs import quantity  # noqa: PLC0415 - keeps --help fast

    try:
        number = float(text)
    except ValueError:
        try:
            return quantity(str(text), _SPELT.get(unit, unit))
        except ValueError as error:
            raise click.BadParameter(str(error)) from error
    if not math.isfinite(number):
        raise click.BadParameter(f"{text} is no finite number")
    return number


def _read_flow(text: str | float) -> float:
    """Read a flow of water in kg/h: also by volume, or by the time that half a litre takes."""
    from dewmargin.site.site_file import catch_kg_h  # noqa: PLC0415 - keeps --help fast

    try:
        found = catch_kg_h(str(text))
    except ValueError as error:
        raise click.BadParameter(str(error)) from error
    return _read(text, "kg/h") if found is None else found


def amount(name: str, unit: str, text: str, **more: Any) -> Callable[[Any], Any]:  # noqa: ANN401 - click's
    """Return an option that takes a number in `unit`, or a text with another unit of its kind."""

    def read(given: str | float) -> float:
        return _read_flow(given) if unit == "kg/h" else _read(given, unit)

    return click.option(name, type=read, metavar=unit, help=text, **more)


@click.group("check-site")
def check_site() -> None:
    """Check on site: sensor, control circuit, water line, measured values.

    An amount is a number in the unit shown, or a text with another: "100 ft", "140 degF".
    """


@check_site.command()
@click.option("--beta", type=float, default=3950.0, show_default=True, help="B of the part, K.")
@amount("--r25", "Ω", "At 25 °C.", default=10_000.0, show_default=True)
@click.option(
    "--steinhart", type=(float, float, float), metavar="A B C", help="Of the part, instead."
)
@click.option("--controller-beta", type=float, help="B the controller is set to.  Default: same.")
@click.option(
    "--controller-steinhart", type=(float, float, float), metavar="A B C", help="Instead."
)
@amount("--reading", "Ω", "A reading, to be turned into a temperature.")
@amount("--temperature", "°C", "A temperature, to be turned into a resistance.")
@amount("--ice-bath", "Ω", "Reading in stirred ice and water.")
@amount("--lead", "m", "Length of the leads, one way.")
@click.option("--awg", type=int, default=22, show_default=True, help="Gauge of the leads.")
@amount("--leakage", "Ω", "Resistance across the part, as of a wet splice.")
@amount("--supply", "V", "Of the divider that the part is in: its current warms the part.")
@amount("--series", "Ω", "Resistor of the divider.", default=10_000.0, show_default=True)
@click.option(
    "--dissipation", type=float, default=1.5, show_default=True, help="Of the part, mW/K."
)
@amount("--rh-sensor-upstream", "m", "Humidity sensor to take-off; below 0: downstream.")
@_json
def thermistor(
    *,
    beta: float,
    r25: float,
    steinhart: tuple[float, float, float] | None,
    controller_beta: float | None,
    controller_steinhart: tuple[float, float, float] | None,
    reading: float | None,
    temperature: float | None,
    ice_bath: float | None,
    lead: float | None,
    awg: int,
    leakage: float | None,
    supply: float | None,
    series: float,
    dissipation: float,
    rh_sensor_upstream: float | None,
    as_json: bool,
) -> None:
    """Turn ohms into degrees, and tell what a controller shows."""
    from dewmargin.site.circuit import loop_ohm  # noqa: PLC0415 - keeps --help fast
    from dewmargin.site.sensor import Curve, check_thermistor  # noqa: PLC0415 - idem

    if controller_beta is not None and controller_steinhart:
        raise click.UsageError("Give --controller-beta or --controller-steinhart, not both.")
    controller = Curve(*controller_steinhart) if controller_steinhart else None
    if controller_beta is not None:
        controller = Curve.beta(controller_beta, r25)
    done = check_thermistor(
        Curve(*steinhart) if steinhart else Curve.beta(beta, r25),
        controller=controller,
        ohm=reading,
        t_c=temperature,
        ice_bath_ohm=ice_bath,
        lead_ohm=0.0 if lead is None else loop_ohm(lead, awg),
        leakage_ohm=math.inf if leakage is None else leakage,
        rh_sensor_upstream_m=rh_sensor_upstream,
        supply_v=supply,
        series_ohm=series,
        dissipation_mw_k=dissipation,
    )
    _print("thermistor", done, as_json=as_json)


@check_site.command()
@click.option(
    "--load",
    "loads",
    multiple=True,
    required=True,
    metavar="NAME=VA[/INRUSH]",
    help="Each that the transformer feeds, such as contactor=8/32; may be repeated.",
)
@amount("--rated", "VA", "Of the transformer.", default=40.0, show_default=True)
@amount("--volts", "V", "Of the transformer.", default=24.0, show_default=True)
@click.option("--shared/--own", default=False, help="Whether it feeds more than the humidifier.")
@amount("--valve", "VA", "The humidifier's valve.")
@amount("--run", "m", "Longest cable run, one way, to the largest load.")
@click.option("--awg", type=int, default=18, show_default=True, help="Gauge of the cable.")
@click.option("--cable", type=int, metavar="N", help="Conductors of the cable.")
@click.option(
    "--use",
    "uses",
    multiple=True,
    help="What the cable is for; may be repeated: valve, airflow_switch, humidistat, "
    "outdoor_sensor, outdoor_unit_single_stage, outdoor_unit_two_stage.",
)
@click.option(
    "--live-with-blower/--always-live",
    default=None,
    help="The accessory terminal that is to start the blower.",
)
@click.option("--isolated/--not-isolated", default=None, help="The outdoor unit's 240 V.")
@_json
def circuit(
    *,
    loads: tuple[str, ...],
    rated: float,
    volts: float,
    shared: bool,
    valve: float | None,
    run: float | None,
    awg: int,
    cable: int | None,
    uses: tuple[str, ...],
    live_with_blower: bool | None,
    isolated: bool | None,
    as_json: bool,
) -> None:
    """Check transformer, cable and conductors of 24 V."""
    from dewmargin.site.circuit import Load, check_circuit  # noqa: PLC0415 - keeps --help fast

    done = check_circuit(
        [Load.parse(text) for text in loads],
        rated_va=rated,
        supply_v=volts,
        shared=shared,
        valve_va=valve,
        length_m=run,
        awg=awg,
        cable_conductors=cable,
        uses=uses,
        live_only_with_blower=live_with_blower,
        isolated=isolated,
    )
    _print("circuit", done, as_json=as_json)


@check_site.command()
@amount("--feed", "kg/h", 'Feed; also "5 gal/h", or the time of half a litre: "120 s".',
         required=True)  # fmt: skip
@amount("--feed-temperature", "°C", "As it enters the line.", required=True)
@amount("--cold-temperature", "°C", "What the cold tap gives, to compare.")
@click.option("--material", help="copper, pex, cpvc or plain_plastic.")
@click.option("--drain-material", help="Likewise.")
@amount("--length", "m", "Length of the line.")
@amount("--bore", "mm", "Its inner diameter.", default=4.33, show_default=True)
@amount("--outer", "mm", "Its outer diameter.", default=6.35, show_default=True)
@amount("--ambient", "°C", "Air around it.", default=20.0, show_default=True)
@amount("--run", "min", "A run after a pause.", default=10.0, show_default=True)
@amount("--tankless", "l/min", "Least flow of the tankless heater, if one feeds it.")
@click.option("--tap", help="tee or saddle.")
@click.option(
    "--normally-closed/--normally-open", default=True, show_default=True, help="Feed valve."
)
@click.option("--backflow/--no-backflow", default=None, help="Whether drinking water is protected.")
@amount("--air-gap", "mm", "Of the drain.")
@amount("--drain-opening", "mm", "Of the drain.", default=13.0, show_default=True)
@amount("--drain-bore", "mm", "Of the drain.")
@click.option("--drain-fall", type=float, default=0.01, show_default=True, help="Height by length.")
@amount("--duct", "Pa", "Cabinet against the room; below 0: suction.")
@amount("--pump", "kg/h", "What the condensate pump lifts, if one drains it.")
@amount("--pump-rated", "°C", "Water that the pump is rated for.")
@click.option(
    "--pump-switch/--no-pump-switch", default=None, help="Its high-level switch shuts the feed."
)
@amount("--pressure", "bar", "Of the water line, now.")
@amount("--set-pressure", "bar", "When the feed was set.")
@amount("--trap", "mm", "Depth of the trap's seal; 0: none.", default=0.0, show_default=True)
@click.option("--leak-checked/--not-leak-checked", default=None, help="A new line.")
@_json
def water(
    *,
    feed: float,
    feed_temperature: float,
    cold_temperature: float | None,
    material: str | None,
    drain_material: str | None,
    length: float | None,
    bore: float,
    outer: float,
    ambient: float,
    run: float,
    tankless: float | None,
    tap: str | None,
    normally_closed: bool,
    backflow: bool | None,
    air_gap: float | None,
    drain_opening: float,
    drain_bore: float | None,
    drain_fall: float,
    duct: float | None,
    pump: float | None,
    pump_rated: float | None,
    pump_switch: bool | None,
    pressure: float | None,
    set_pressure: float | None,
    trap: float,
    leak_checked: bool | None,
    as_json: bool,
) -> None:
    """Check line, tap, valve, backflow, drain and trap.

    What is given is judged.
    """
    from dewmargin.physics.water_line import WaterLine  # noqa: PLC0415 - keeps --help fast
    from dewmargin.site.plumbing import Plumbing, check_water  # noqa: PLC0415 - idem

    if (pressure is None) != (set_pressure is None):
        raise click.UsageError("--pressure and --set-pressure go together.")
    line = None
    if length is not None:
        line = WaterLine(length_m=length, bore_mm=bore, outer_mm=outer, ambient_c=ambient)
    given = Plumbing(
        feed_kg_h=feed,
        t_feed_c=feed_temperature,
        t_cold_c=cold_temperature,
        material=material,
        drain_material=drain_material,
        line=line,
        run_min=run,
        tankless_l_min=tankless,
        tap=tap,
        normally_closed=normally_closed,
        backflow_protected=backflow,
        gap_mm=air_gap,
        opening_mm=drain_opening,
        drain_bore_mm=drain_bore,
        drain_fall=drain_fall,
        duct_pa=duct,
        trap_mm=trap,
        pump_kg_h=pump,
        pump_rated_c=pump_rated,
        pump_switch=pump_switch,
        pressure_bar=pressure,
        set_pressure_bar=set_pressure,
        leak_checked=leak_checked,
    )
    _print("water", check_water(given), as_json=as_json)


@check_site.command()
@amount("--feed", "kg/h", 'Timed catch; also "5 gal/h", or the time of half a litre: "120 s".')
@amount("--drain", "kg/h", "Timed catch of the drain, likewise; 0 if nothing drains.")
@amount("--feed-temperature", "°C", "At the nozzle.")
@amount("--drain-temperature", "°C", "In the drain's stream.")
@amount("--air-in", "°C", "Air before the pad.")
@amount("--air-out", "°C", "Air behind the pad.")
@amount("--room", "°C", "Room air.")
@click.option("--room-rh", type=float, help="Room air, 0 to 1.")
@amount("--elevation", "m", "Above the sea.  Default: sea level.")
@amount("--static", "Pa", "Between the plenums, bypass open.")
@amount("--valve", "V", "At the valve, drawing.")
@amount("--plant", "kW", "Heat output of the plant in whose bypass the pad sits.")
@amount("--set-feed", "kg/h", "Feed that was set.")
@amount("--set-temperature", "°C", "Feed temperature that is expected.")
@click.option("--effectiveness", type=float, default=0.65, show_default=True, help="Expected.")
@click.option("--contact", type=float, default=1.0, show_default=True, help="Expected, 0 to 1.")
@amount("--expected-airflow", "kg/s", "Through the pad.")
@amount("--face-area", "m2", "Of the pad, to tell whether its air blows water off.")
@click.option("--expected-rh", type=float, help="What the room should have come to, 0 to 1.")
@click.option(
    "--feed-ratio",
    type=float,
    default=1.5,
    show_default=True,
    help="kg fed for each evaporated that keep the pad just wet.",
)
@click.option("--symptoms", is_flag=True, help="Print the table of symptoms only.")
@click.option(
    "--site",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="VISIT",
    help="Site file that holds the measured values, in place of these options.",
)
@click.option(
    "--save",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="VISIT",
    help="Write the measured values to this new site file, for compare --site.",
)
@click.option("--equipment", metavar="NAME", help="The pad in the scenario; for --save.")
@click.option("--supply", metavar="NAME", help="The supply that fed it; for --save.")
@click.option(
    "--date",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Of the visit; for --save.  Default: today.",
)
@click.option("--notes", default="", help="What else was seen; for --save.")
@_json
def measured(
    *,
    feed: float | None,
    drain: float | None,
    feed_temperature: float | None,
    drain_temperature: float | None,
    air_in: float | None,
    air_out: float | None,
    room: float | None,
    room_rh: float | None,
    elevation: float | None,
    static: float | None,
    valve: float | None,
    plant: float | None,
    set_feed: float | None,
    set_temperature: float | None,
    effectiveness: float,
    contact: float,
    expected_airflow: float | None,
    face_area: float | None,
    expected_rh: float | None,
    feed_ratio: float,
    symptoms: bool,
    site: Path | None,
    save: Path | None,
    equipment: str | None,
    supply: str | None,
    date: dt.datetime | None,
    notes: str,
    as_json: bool,
) -> None:
    """Find a pad's contact and effectiveness as measured.

    Measure in a heating call, after a quarter of an hour of wet running.
    """
    from dewmargin.site import commissioning  # noqa: PLC0415 - keeps --help fast

    if symptoms:
        _print_symptoms(as_json=as_json)
        return
    given = {
        "--feed": feed,
        "--drain": drain,
        "--feed-temperature": feed_temperature,
        "--drain-temperature": drain_temperature,
        "--air-in": air_in,
        "--air-out": air_out,
        "--room": room,
        "--room-rh": room_rh,
    }
    besides = {
        "--elevation": elevation,
        "--static": static,
        "--valve": valve,
        "--plant": plant,
    }
    if site is not None:
        found = _from_site(site, given | besides | {"--save": save})
    else:
        found = _from_options(given, besides)
    done = commissioning.check_measured(
        found,
        commissioning.Expected(
            feed_kg_h=set_feed,
            t_feed_c=set_temperature,
            effectiveness=effectiveness,
            contact_frac=contact,
            airflow_kg_s=expected_airflow,
            feed_ratio=feed_ratio,
            face_area_m2=face_area,
            room_rh=expected_rh,
        ),
    )
    if save is not None:
        _save(
            save,
            found,
            elevation_m=elevation or 0.0,
            equipment=equipment,
            supply=supply,
            date=date,
            notes=notes,
        )
    _print("measured", done, as_json=as_json)
    if save is not None and not as_json:
        click.echo(f"Written to {save}; next: dewmargin compare SCENARIO --site {save}")


def _from_site(site: Path, beside: dict[str, Any]) -> Measured:
    from dewmargin.site.site_file import read_site  # noqa: PLC0415 - keeps --help fast

    twice = ", ".join(name for name, value in beside.items() if value is not None)
    if twice:
        raise click.UsageError(f"--site holds what was measured: leave {twice} out.")
    return read_site(site).measured


def _from_options(given: dict[str, float | None], besides: dict[str, float | None]) -> Measured:
    from dewmargin.physics.air import standard_pressure  # noqa: PLC0415 - keeps --help fast
    from dewmargin.site.commissioning import Measured  # noqa: PLC0415 - idem

    values = [value for value in given.values() if value is not None]
    if len(values) < len(given):
        missing = ", ".join(name for name, value in given.items() if value is None)
        raise click.UsageError(f"Not given: {missing}")
    names = ("feed_kg_h", "drain_kg_h", "t_feed_c", "t_drain_c", "t_in_c", "t_out_c")
    of_visit = dict(zip((*names, "room_c", "room_rh"), values, strict=True))
    return Measured(
        **of_visit,
        p_pa=standard_pressure(besides["--elevation"] or 0.0),
        static_pa=besides["--static"],
        valve_v=besides["--valve"],
        plant_kw=besides["--plant"],
    )


def _save(
    file: Path,
    found: Measured,
    *,
    elevation_m: float,
    equipment: str | None,
    supply: str | None,
    date: dt.datetime | None,
    notes: str,
) -> None:
    from dewmargin.core.toml_file import write_new  # noqa: PLC0415 - idem
    from dewmargin.site.site_file import PadVisit, Visit, site_text  # noqa: PLC0415 - idem

    if equipment is None:
        raise click.UsageError("--save needs --equipment, the pad's name in the scenario.")
    values = asdict(found)
    del values["p_pa"]
    day = (date or dt.datetime.now().astimezone()).date()
    text = site_text(
        Visit(date=day, elevation_m=elevation_m, notes=notes),
        PadVisit(equipment=equipment, supply=supply, **values),
    )
    write_new(file, text, do="keep one file a visit")


def _print_symptoms(*, as_json: bool) -> None:
    from dewmargin.site.commissioning import SYMPTOMS, symptom_lines  # noqa: PLC0415 - idem

    if as_json:
        keys = ("symptom", "cause", "action")
        table = {key: dict(zip(keys, row, strict=True)) for key, row in SYMPTOMS.items()}
        _print_json("symptoms", {"symptoms": table})
        return
    for line in symptom_lines():
        click.echo(line)


def _print(name: str, done: SiteCheck, *, as_json: bool) -> None:
    if as_json:
        _print_json(name, asdict(done))
        return
    for line in done.lines:
        click.echo(line)
    for finding in done.findings:
        for line in finding.lines():
            click.echo(line)
    for caution in done.cautions:
        click.echo(f"caution: {caution}")


def _print_json(name: str, document: dict[str, Any]) -> None:
    whole = {"schema": f"dewmargin/check-site-{name}/1", **document}
    click.echo(json.dumps(whole, indent=1, allow_nan=False))
