"""Content of the page of one result: the answer, charts with their numbers, the basis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from dewmargin.plot import charts, style
from dewmargin.plot.style import COLOURS, styled
from dewmargin.reports.page import templates
from dewmargin.reports.page.grids import Grid, grid, tied
from dewmargin.reports.page.svg import inline

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from markupsafe import Markup
    from matplotlib.axes import Axes

    from dewmargin.core.stored import Data


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart with its title, what it tells, and its numbers."""

    name: str
    title: str
    text: str
    drawing: Markup
    grids: Sequence[Grid]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A heading with what stands below it."""

    name: str
    title: str
    charts: Sequence[Chart] = ()
    grids: Sequence[Grid] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """A number of the answer, and the same without a humidifier."""

    label: str
    text: str
    without: str | None
    column: str
    option: str


def page(data: Data) -> str:
    """Return the page of a comparison or of a search of lines, as a text."""
    with styled():
        sections = _frontier_sections(data) if is_frontier(data) else _sections(data)
    return templates.render(
        "report.html.j2",
        title=data.about["title"],
        colours=colours(),
        sections=[section for section in sections if section.charts or section.grids],
        answer=answer(data),
        basis=basis(data),
    )


def is_frontier(data: Data) -> bool:
    """Tell whether the results are those of a search of lines."""
    return data.has("frontier") and not data.has("comparison")


def colours() -> Mapping[str, Sequence[tuple[str, str]]]:
    """Return the colours of the page, on paper and on a dark screen."""
    return {
        "light": [(name, light) for name, (light, _) in COLOURS.items()],
        "dark": [(name, dark) for name, (_, dark) in COLOURS.items()],
    }


def answer(data: Data) -> dict[str, Any]:
    """Return the first screen: verdict, key numbers, the chosen option and what to set."""
    about = data.about
    sentences = data.sentences
    chosen = about.get("chosen")
    found: dict[str, Any] = {
        "lead": tied(sentences[0]),
        "more": [tied(sentence) for sentence in sentences[1:]],
        "chosen": None,
        "keys": [],
        "settings": None,
        "warnings": [tied(warning) for warning in about.get("warnings", [])],
    }
    if is_frontier(data):
        if data.has("settings"):
            found["settings"] = _settings_grid(data, data.names("settings", "strategy")[0])
        return found
    names = data.names("comparison", "option")
    if chosen is not None:
        rule = charts.part(data, chosen, "strategy") or ""
        found["chosen"] = [
            (name, charts.part(data, chosen, name)) for name in ("strategy", "equipment", "supply")
        ]
        found["settings"] = _settings_grid(data, rule)
    else:
        shown_instead = charts.chosen_option(data, None)
        found["more"].append(f"Where a chart is of one option, it is {shown_instead!r}.")
    found["keys"] = _keys(data, chosen or names[0], names[0])
    return found


def _settings_grid(data: Data, rule: str) -> Grid:
    return grid(
        data,
        "settings",
        ("t_out_c", "t_out_f", "rh_set_percent", "rh_limit_percent"),
        caption=f"What to set: {rule}",
        where={"strategy": [rule]},
        decimals={"t_out_c": 0},
    )


def _keys(data: Data, option: str, baseline: str) -> list[Key]:
    """Return the numbers that decide, where they are known."""
    season = data.about["heating_season_h"]
    labels = {
        "band_h": f"in the comfort band, of {season} heating-season hours",
        "dry_h": "too dry in the heating season",
        "condensation_h": "with condensation on a surface",
        "feed_l": f"of water {charts.span(data)}",
        "cost": f"for water and energy {charts.span(data)}",
        "co2_kg": f"of CO₂ {charts.span(data)}",
    }
    keys = []
    for column, label in labels.items():
        value, without = (
            float(data.numbers("comparison", column, option=each)[0]) for each in (option, baseline)
        )
        if np.isnan(value):
            continue
        how = data.shown("comparison", column)
        compare = option != baseline and column in ("band_h", "dry_h", "condensation_h")
        keys.append(
            Key(
                label=label,
                text=how.text(value),
                without=how.text(without) if compare else None,
                column=column,
                option=option,
            )
        )
    return keys


def _chart(
    data: Data,
    draw: Callable[[Data], Axes | list[Axes]],
    name: str,
    title: str,
    text: str,
    grids: Sequence[Grid],
) -> Chart:
    return chart_of(draw(data), name, title, text, grids)


def chart_of(
    axes: Axes | list[Axes], name: str, title: str, text: str, grids: Sequence[Grid]
) -> Chart:
    """Return axes as a chart of a page; `name` is its own there."""
    drawing = inline(style.figure_of(axes), name, title=title, text=text)
    return Chart(name=name, title=title, text=text, drawing=drawing, grids=grids)


def _sections(data: Data) -> list[Section]:
    option = charts.chosen_option(data, None)
    of = {"option": [option]}
    has_faces = data.has("surfaces")
    return [
        Section(
            name="settings",
            title="What to set" if data.about.get("chosen") else "Set-points",
            charts=_settings_charts(data, option),
        ),
        Section(
            name="demand",
            title="Demand and delivery",
            charts=_demand_charts(data, option, of),
        ),
        Section(
            name="room",
            title="The room and its surfaces" if has_faces else "The room",
            charts=_room_charts(data, option, of, has_faces=has_faces),
        ),
        Section(name="use", title="Water and energy", charts=_water_charts(data)),
        Section(
            name="options",
            title="All options",
            charts=[_trade_off(data)],
            grids=_option_grids(data, option),
        ),
    ]


def _settings_charts(data: Data, option: str) -> list[Chart]:
    if not data.has("settings"):
        return []
    rule = charts.part(data, option, "strategy") or ""
    limits = ""
    grids = [
        grid(
            data,
            "settings",
            (
                "t_out_c",
                "t_out_f",
                "rh_set_percent",
                "rh_set_low_frac",
                "rh_set_high_frac",
                "rh_limit_percent",
                "limiting_surface",
                "hours",
            ),
            caption=f"Set-points of {rule}",
            where={"strategy": [rule]},
            decimals={"t_out_c": 0},
        )
    ]
    if data.has("limits"):
        limits = " A dashed line is the highest humidity at which that surface stays dry."
        grids.append(
            grid(
                data,
                "limits",
                ("surface", "t_out_c", "rh_max_frac", "hours"),
                caption="Highest relative humidity at which each surface stays dry",
                decimals={"t_out_c": 0},
            )
        )
    found = [
        _chart(
            data,
            charts.setpoint_lines,
            "setpoints",
            "Set-points and what the surfaces allow" if limits else "Set-points",
            f"The line with dots is what {rule} sets at each outdoor temperature.{limits} The "
            "cloud is the year's hours in the room: darker where there are more.",
            grids,
        ),
    ]
    if len(charts.one_a_strategy(data)) > 1:
        found.append(
            _chart(
                data,
                charts.strategies,
                "strategies",
                "Every strategy",
                "The same for each strategy on the same equipment and water. Where a set-point "
                "line is above a dashed line, that surface sweats.",
                [
                    grid(
                        data,
                        "settings",
                        ("strategy", "t_out_c", "rh_set_percent", "rh_limit_percent"),
                        caption="Set-points of every strategy",
                        decimals={"t_out_c": 0},
                    )
                ],
            )
        )
    return found


def _demand_charts(data: Data, option: str, of: Mapping[str, Sequence[str]]) -> list[Chart]:
    if not data.has("duration"):
        return []
    same = charts.under_one_strategy(data, option)
    return [
        _chart(
            data,
            charts.through_the_year,
            "year",
            "Through the year",
            f"Vapour each day with {option}: what an unlimited humidifier would add, and what this "
            "one does. The gap between line and area is missing.",
            [
                grid(
                    data,
                    "daily",
                    ("date", "t_out_mean_c", "demand_kg", "delivered_kg"),
                    caption=f"Each day with {option}",
                    where=of,
                    decimals={"demand_kg": 2, "delivered_kg": 2},
                )
            ],
        ),
        _chart(
            data,
            charts.load_duration,
            "duration",
            "Load duration and capacity",
            "In how many hours of the year more is demanded, given, or could be given by each "
            "equipment and water whenever it may run. Each curve is sorted by itself.",
            [
                grid(
                    data,
                    "duration",
                    (
                        "option",
                        "exceeded_percent",
                        "exceeded_h",
                        "demand_kg_h",
                        "delivered_kg_h",
                        "able_kg_h",
                    ),
                    caption="Load duration",
                    where={"option": same},
                    decimals={"exceeded_percent": 1, "exceeded_h": 1},
                )
            ],
        ),
    ]


def _room_charts(
    data: Data, option: str, of: Mapping[str, Sequence[str]], *, has_faces: bool
) -> list[Chart]:
    comfort = data.about["scenario"]["comfort"]
    rh = data.shown("hourly", "rh_frac")
    found = [
        _chart(
            data,
            charts.humidity_map,
            "humidity",
            "Relative humidity of the room, hour by day",
            f"Each column is a day of the year with {option}, midnight below. The comfort band is "
            f"{rh.number(comfort['low_rh'])} to {rh.text(comfort['high_rh'])}.",
            [
                grid(
                    data,
                    "daily",
                    ("date", "rh_mean_frac", "dry_h"),
                    caption="Each day; its hours are in hourly.parquet",
                    where=of,
                    decimals={"rh_mean_frac": 1},
                )
            ],
        )
    ]
    if not has_faces:
        return found
    worst = charts.worst_surface(data, option)
    found += [
        _chart(
            data,
            charts.margin_map,
            "margin",
            f"Dew margin of {worst}, hour by day",
            "How far this surface, the one with the least margin of the year, is above the dew "
            f"point of the room with {option}. Below zero it condenses.",
            [
                grid(
                    data,
                    "daily",
                    ("date", "worst_margin_k", "condensation_h", "wet_h"),
                    caption="Each day, any surface; their hours are in surfaces_hourly.parquet",
                    where=of,
                )
            ],
        ),
        _chart(
            data,
            charts.surface_hours,
            "surfaces",
            "Condensation, film and run-off by surface",
            "Hours of the year in which each surface is below the dew point, has a film of water, "
            "or runs off.",
            [
                grid(
                    data,
                    "surfaces",
                    (
                        "option",
                        "surface",
                        "condensation_h",
                        "wet_h",
                        "visible_h",
                        "runoff_h",
                        "frost_h",
                        "longest_wet_h",
                        "worst_margin_k",
                        "mould_index_max",
                    ),
                    caption="What each surface goes through in the year",
                )
            ],
        ),
    ]
    return found


def _water_charts(data: Data) -> list[Chart]:
    humidified = [
        option
        for option in data.names("comparison", "option")
        if charts.part(data, option, "strategy") is not None
    ]
    of = {"option": humidified}
    kwh = ("feed_heat_kwh", "makeup_heat_kwh", "fan_kwh", "device_kwh", "fuel_kwh")
    found = [
        _chart(
            data,
            charts.water,
            "water",
            "Where the water goes",
            "Feed of the year by option: evaporated or drained, unheated or heated.",
            [
                grid(
                    data,
                    "comparison",
                    (
                        "option",
                        "feed_l",
                        "evaporated_l",
                        "drained_l",
                        "hot_feed_l",
                        "feed_l_per_kg",
                    ),
                    caption="Water of the year",
                    where=of,
                )
            ],
        )
    ]
    known = np.array([data.numbers("comparison", name) for name in kwh])
    if np.nansum(np.abs(known)) > 0.0:
        found.append(
            _chart(
                data,
                charts.energy,
                "energy",
                "Heat and electricity",
                "What each option takes in a year: heat put into the feed, heat that the heating "
                "plant adds, and electricity.",
                [
                    grid(
                        data,
                        "comparison",
                        ("option", *kwh),
                        caption="Heat and electricity of the year",
                        where=of,
                    )
                ],
            )
        )
    return found


def _trade_off(data: Data) -> Chart:
    against = charts.against_band(data)
    what = "hours of condensation" if against == "condensation_h" else "feed"
    return _chart(
        data,
        charts.trade_off,
        "tradeoff",
        "Comfort against condensation" if against == "condensation_h" else "Comfort against water",
        f"Each mark is an option: hours in the comfort band against {what}. No option lies above "
        "the grey steps; the ring is the one chosen.",
        [
            grid(
                data,
                "comparison",
                ("option", "band_h", against),
                caption="Comfort band against " + what,
            )
        ],
    )


def _option_grids(data: Data, option: str) -> list[Grid]:
    return [
        grid(
            data,
            "comparison",
            (
                "option",
                "dry_h",
                "band_h",
                "humid_h",
                "condensation_h",
                "wet_h",
                "runoff_h",
                "worst_margin_k",
                "mould_index_max",
            ),
            caption="Humidity and surfaces: hours of the year; dry, in the band and humid of the "
            "heating season",
        ),
        grid(
            data,
            "comparison",
            (
                "option",
                "demand_kg",
                "delivered_kg",
                "shortfall_h",
                "feed_l",
                "feed_l_per_kg",
                "running_h",
                "cost",
                "co2_kg",
            ),
            caption="Vapour, water and money of the year",
        ),
        grid(
            data,
            "monthly",
            (
                "month",
                "t_out_mean_c",
                "rh_mean_frac",
                "demand_kg",
                "delivered_kg",
                "feed_l",
                "dry_h",
                "band_h",
                "humid_h",
                "condensation_h",
            ),
            caption=f"Month by month: {option}",
            where={"option": [option]},
        ),
    ]


def _frontier_sections(data: Data) -> list[Section]:
    goals = data.about["goals"]
    columns = dict.fromkeys(
        ("points", *goals, "band_h", "condensation_h", "delivered_kg", "feed_l")
    )
    return [
        Section(
            name="frontier",
            title="Lines that no other beats",
            charts=[
                _chart(
                    data,
                    charts.frontier,
                    "frontier-chart",
                    "The frontier",
                    "Each dot is a line of set-points: no other is better in all goals.",
                    [grid(data, "frontier", tuple(columns), caption="The lines")],
                )
            ],
        )
    ]


def basis(data: Data) -> dict[str, Any]:
    """Return what the numbers rest on: inputs, assumptions, readings, provenance."""
    about = data.about
    return {
        "given": [(each["key"], _plain(each["value"])) for each in about["given"]],
        "defaults": [
            (each["key"], _plain(each["value"]), each["source"]) for each in about["defaults"]
        ],
        "readings": [tied(line) for line in about.get("readings", [])],
        "versions": sorted(about["versions"].items()),
        "inputs": sorted(about["inputs_sha256"].items()),
        "schema_version": about["schema_version"],
    }


def _plain(value: object) -> str:
    """Return an input as a person would write it."""
    if value is None or value == []:
        return "not given"
    if isinstance(value, list):
        return f"[{', '.join(map(_plain, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_plain(each)}" for key, each in value.items()) + "}"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:.12g}" if isinstance(value, float) else str(value)
