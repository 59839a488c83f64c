"""Commands for the site: short plain lines, to be read on a phone, and a page to print."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dewmargin.cli import options
from dewmargin.cli.documents import print_json

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable

    from dewmargin.site.finding import SiteCheck
    from dewmargin.units import Units


@click.group("check-site")
def check_site() -> None:
    """Check on site: sensor, control circuit, water line, measured values.

    An amount is a number in the unit shown, or a text with another: "100 ft", "140 degF".
    """


@check_site.command()
@click.option("--beta", type=float, default=3950.0, show_default=True, help="B of the part, K.")
@options.amount("--r25", "Ω", "At 25 °C.", default=10_000.0, show_default=True)
@click.option(
    "--steinhart", type=(float, float, float), metavar="A B C", help="Of the part, instead."
)
@click.option("--controller-beta", type=float, help="B the controller is set to.  Default: same.")
@click.option(
    "--controller-steinhart", type=(float, float, float), metavar="A B C", help="Instead."
)
@options.amount("--reading", "Ω", "A reading, to be turned into a temperature.")
@options.amount("--temperature", "°C", "A temperature, to be turned into a resistance.")
@options.amount("--ice-bath", "Ω", "Reading in stirred ice and water.")
@options.amount("--lead", "m", "Length of the leads, one way.")
@click.option("--awg", type=int, default=22, show_default=True, help="Gauge of the leads.")
@options.amount("--leakage", "Ω", "Resistance across the part, as of a wet splice.")
@options.amount("--supply", "V", "Of the divider that the part is in: its current warms the part.")
@options.amount("--series", "Ω", "Resistor of the divider.", default=10_000.0, show_default=True)
@click.option(
    "--dissipation", type=float, default=1.5, show_default=True, help="Of the part, mW/K."
)
@options.amount("--rh-sensor-upstream", "m", "Humidity sensor to take-off; below 0: downstream.")
@options.as_json
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
    from dewmargin.site.circuit import loop_ohm
    from dewmargin.site.sensor import Curve, check_thermistor

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
@options.amount("--rated", "VA", "Of the transformer.", default=40.0, show_default=True)
@options.amount("--volts", "V", "Of the transformer.", default=24.0, show_default=True)
@click.option("--shared/--own", default=False, help="Whether it feeds more than the humidifier.")
@options.amount("--valve", "VA", "The humidifier's valve.")
@options.amount("--run", "m", "Longest cable run, one way, to the largest load.")
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
@options.as_json
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
    from dewmargin.site.circuit import Load, check_circuit

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
@options.amount("--feed", "kg/h", 'Feed; also "5 gal/h", or the time of half a litre: "120 s".',
         required=True)  # fmt: skip
@options.amount("--feed-temperature", "°C", "As it enters the line.", required=True)
@options.amount("--cold-temperature", "°C", "What the cold tap gives, to compare.")
@click.option("--material", help="copper, pex, cpvc or plain_plastic.")
@click.option("--drain-material", help="Likewise.")
@options.amount("--length", "m", "Length of the line.")
@options.amount("--bore", "mm", "Its inner diameter.", default=4.33, show_default=True)
@options.amount("--outer", "mm", "Its outer diameter.", default=6.35, show_default=True)
@options.amount("--ambient", "°C", "Air around it.", default=20.0, show_default=True)
@options.amount("--run", "min", "A run after a pause.", default=10.0, show_default=True)
@options.amount("--tankless", "l/min", "Least flow of the tankless heater, if one feeds it.")
@click.option("--tap", help="tee or saddle.")
@click.option(
    "--normally-closed/--normally-open", default=True, show_default=True, help="Feed valve."
)
@click.option("--backflow/--no-backflow", default=None, help="Whether drinking water is protected.")
@options.amount("--air-gap", "mm", "Of the drain.")
@options.amount("--drain-opening", "mm", "Of the drain.", default=13.0, show_default=True)
@options.amount("--drain-bore", "mm", "Of the drain.")
@click.option("--drain-fall", type=float, default=0.01, show_default=True, help="Height by length.")
@options.amount("--duct", "Pa", "Cabinet against the room; below 0: suction.")
@options.amount("--pump", "kg/h", "What the condensate pump lifts, if one drains it.")
@options.amount("--pump-rated", "°C", "Water that the pump is rated for.")
@click.option(
    "--pump-switch/--no-pump-switch", default=None, help="Its high-level switch shuts the feed."
)
@options.amount("--pressure", "bar", "Of the water line, now.")
@options.amount("--set-pressure", "bar", "When the feed was set.")
@options.amount(
    "--trap", "mm", "Depth of the trap's seal; 0: none.", default=0.0, show_default=True
)
@click.option("--leak-checked/--not-leak-checked", default=None, help="A new line.")
@options.as_json
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
    from dewmargin.physics.water_line import WaterLine
    from dewmargin.site.plumbing import Plumbing, check_water

    if (pressure is None) != (set_pressure is None):
        raise click.UsageError("--pressure and --set-pressure go together.")
    line = None
    if length is not None:
        line = WaterLine(
            length_m=length, bore_mm=bore, outer_mm=outer, ambient_c=ambient, material=material
        )
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
@options.amount(
    "--feed", "kg/h", 'Timed catch; also "5 gal/h", or the time of half a litre: "120 s".'
)
@options.amount("--drain", "kg/h", "Timed catch of the drain, likewise; 0 if nothing drains.")
@options.amount("--feed-temperature", "°C", "At the nozzle.")
@options.amount("--drain-temperature", "°C", "In the drain's stream.")
@options.amount("--air-in", "°C", "Air before the pad.")
@options.amount("--air-out", "°C", "Air behind the pad.")
@options.amount("--room", "°C", "Room air.")
@click.option("--room-rh", type=float, help="Room air, 0 to 1.")
@options.amount("--elevation", "m", "Above the sea.  Default: sea level.")
@options.amount("--static", "Pa", "Between the plenums, bypass open.")
@options.amount("--valve", "V", "At the valve, drawing.")
@options.amount("--plant", "kW", "Heat output of the plant in whose bypass the pad sits.")
@options.amount("--set-feed", "kg/h", "Feed that was set.")
@options.amount("--set-temperature", "°C", "Feed temperature that is expected.")
@click.option("--effectiveness", type=float, default=0.65, show_default=True, help="Expected.")
@click.option("--contact", type=float, default=1.0, show_default=True, help="Expected, 0 to 1.")
@options.amount("--expected-airflow", "kg/s", "Through the pad.")
@options.amount("--face-area", "m2", "Of the pad, to tell whether its air blows water off.")
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
@options.as_json
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
    from dewmargin.cli import visit
    from dewmargin.site import commissioning

    if symptoms:
        if as_json:
            print_json("check-site-symptoms", visit.symptoms_document())
        else:
            _print_lines(commissioning.symptom_lines())
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
        found = visit.from_site(site, given | besides | {"--save": save})
    else:
        found = visit.from_options(given, besides)
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
        visit.save(
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


def _print(name: str, done: SiteCheck, *, as_json: bool) -> None:
    if as_json:
        print_json(f"check-site-{name}", asdict(done))
        return
    _print_lines(done.lines)
    for finding in done.findings:
        _print_lines(finding.lines())
    _print_lines(f"caution: {caution}" for caution in done.cautions)


def _print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        click.echo(line)


@click.command()
@options.scenario
@click.option("--option", metavar="NAME", help="As compare names it. Default: the verdict's.")
@options.amount("--outdoor", "°C", "Outdoor temperature of the visit.")
@click.option(
    "--step",
    type=click.IntRange(1, 20),
    default=1,
    show_default=True,
    metavar="PERCENT",
    help="What the controller can be set to: multiples of it.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("sheet.html"),
    show_default=True,
    help="The page, an HTML file to be printed.",
)
@click.option("--text", is_flag=True, help="Print it as text instead, with all notes.")
@options.units
@options.as_json
def sheet(
    *,
    scenario: Path,
    option: str | None,
    outdoor: float | None,
    step: int,
    out: Path,
    text: bool,
    units: Units,
    as_json: bool,
) -> None:
    """Write one page for the site: fit, set, measure, watch.

    It prints on one side of A4 or Letter.
    """
    from dewmargin.reports import terminal
    from dewmargin.reports.folder import write_file
    from dewmargin.studies.compare.comparison import compare
    from dewmargin.studies.sheet import site_sheet

    if out.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(
            "the page is an HTML file: its name ends in .html", param_hint="--out"
        )

    page = site_sheet(compare(scenario), option, t_out_c=outdoor, step_percent=step, units=units)
    if as_json:
        print_json("sheet", page.document())
        return
    if text:
        terminal.print_lines(terminal.console(), page.text())
        return
    write_file(out, page.html())
    click.echo(out)
