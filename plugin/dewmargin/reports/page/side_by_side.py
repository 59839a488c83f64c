"""Content of the page of several results: before and after, one house in two climates."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dewmargin.core.display import MISSING
from dewmargin.errors import InputError
from dewmargin.plot import charts, side_by_side
from dewmargin.reports.page import templates
from dewmargin.reports.page.content import Section, chart_of, colours
from dewmargin.reports.page.grids import HEADS, grid, tied

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from dewmargin.core.stored import Data

MOST = 6
# What is set side by side, of the chosen option and, where it tells something, of none.
NUMBERS = (
    ("dry_h", True),
    ("band_h", True),
    ("humid_h", True),
    ("condensation_h", True),
    ("worst_margin_k", True),
    ("demand_kg", False),
    ("delivered_kg", False),
    ("shortfall_h", False),
    ("feed_l", False),
    ("feed_l_per_kg", False),
    ("cost", False),
    ("co2_kg", False),
)
BASELINE = " without humidifier"
PLACE = ("t_out_c", "t_out_f")


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A number of one of the results, and where it is found there."""

    text: str
    option: str


def page(results: Mapping[str, Data]) -> str:
    """Return the page of several results by name, as a text."""
    return templates.render(
        "side_by_side.html.j2",
        title=f"{len(results)} results side by side",
        colours=colours(),
        results=[_told(name, data) for name, data in results.items()],
        numbers=_numbers(results),
        settings=_settings(results),
        sections=_sections(results),
    )


def named(folders: Sequence[Path]) -> list[str]:
    """Return a name for each folder: its own, and that of the folder it is in if two are alike.

    Raises
    ------
    InputError
        If a folder is given twice, or there are too many.
    """
    whole = [folder.resolve() for folder in folders]
    for i, folder in enumerate(whole):
        if folder in whole[:i]:
            raise InputError("is given twice", file=folders[i], hint="leave one out")
    if len(whole) > MOST:
        raise InputError(f"at most {MOST} results go side by side, got {len(whole)}")
    short = [folder.name for folder in whole]
    if len(set(short)) < len(short):
        short = [f"{folder.parent.name}/{folder.name}" for folder in whole]
    return short if len(set(short)) == len(short) else [str(folder) for folder in whole]


def require_alike(results: Mapping[Path, Data]) -> None:
    """Raise if numbers of these results mean different things.

    Raises
    ------
    InputError
        With the folder that does not go with the first.
    """
    (first_folder, first), *others = results.items()
    for folder, data in results.items():
        if not data.has("comparison"):
            hint = "one page is made of the results of `compare`"
            raise InputError("holds no comparison of options", file=folder, hint=hint)
    for folder, data in others:
        for what, of in (
            ("is of a whole year or of a part of one, unlike", "whole_year"),
            ("counts hours in another comfort band than", "band"),
            ("has another heating season than", "season"),
        ):
            if _means(data, of) != _means(first, of):
                raise InputError(
                    f"{what} {first_folder}", file=folder, hint="compare both in the same way"
                )


def _means(data: Data, of: str) -> object:
    comfort = data.about["scenario"]["comfort"]
    if of == "band":
        return comfort["low_rh"], comfort["high_rh"]
    if of == "season":
        return comfort["heating_season_below_c"]
    # Parts of a year are alike if they are as long; leap years and others are.
    whole = data.about["whole_year"]
    return whole or data.about["hours"]


def _told(name: str, data: Data) -> dict[str, Any]:
    about = data.about
    return {
        "name": name,
        "title": about["title"],
        "verdict": [tied(sentence) for sentence in data.sentences],
        "chosen": about["chosen"],
        "warnings": [tied(warning) for warning in about["warnings"]],
        "inputs": sorted(about["inputs_sha256"].items()),
        "versions": sorted(about["versions"].items()),
    }


def _numbers(results: Mapping[str, Data]) -> list[dict[str, Any]]:
    """Return rows of numbers, a value for each of the results."""
    rows = []
    for column, without in NUMBERS:
        for baseline in (False, True) if without else (False,):
            values, units = [], []
            for data in results.values():
                option = data.names("comparison", "option")[0]
                option = option if baseline else data.about["chosen"] or option
                value = float(data.numbers("comparison", column, option=option)[0])
                how = data.shown("comparison", column)
                alone = column == "cost"  # each in its own currency
                values.append(
                    Value(text=how.text(value) if alone else how.number(value), option=option)
                )
                units.append("" if alone else how.unit)
            if all(value.text == MISSING for value in values):
                continue
            label = HEADS[column] + (BASELINE if baseline else "")
            rows.append(
                {
                    "label": f"{label}, {units[0]}" if units[0] else label,
                    "column": column,
                    "values": values,
                }
            )
    return rows


def _settings(results: Mapping[str, Data]) -> list[dict[str, Any]]:
    """Return what to set in each, by outdoor temperature."""
    set_at: dict[tuple[float, float], dict[str, tuple[str, str]]] = {}
    first = next(iter(results.values())).in_units("si")  # both °C and °F, for everyone
    for name, data in results.items():
        chosen = data.about["chosen"]
        if chosen is None:
            continue
        rule = charts.part(data, chosen, "strategy") or ""
        how = data.shown("settings", "rh_set_percent")
        for t_c, t_f, percent in zip(
            *(
                data.numbers("settings", column, strategy=rule)
                for column in (*PLACE, "rh_set_percent")
            ),
            strict=True,
        ):
            set_at.setdefault((float(t_c), float(t_f)), {})[name] = how.number(percent), rule
    if not set_at:
        return []
    places = [first.shown("settings", column, decimals=0) for column in PLACE]
    return [
        {
            "at": [how.text(each) for how, each in zip(places, at, strict=True)],
            "set": [set_at[at].get(name, (MISSING, "")) for name in results],
        }
        for at in sorted(set_at)
    ]


def _sections(results: Mapping[str, Data]) -> list[Section]:
    able = {name: data for name, data in results.items() if data.has("duration")}
    found = [
        chart_of(
            side_by_side.setpoint_panels(able),
            "setpoints",
            "Chosen set-points and what the surfaces allow",
            "The line with dots is what the chosen strategy sets, a dashed line the highest "
            "humidity at which a surface stays dry, the cloud the hours of the year.",
            [
                grid(
                    data,
                    "settings",
                    ("t_out_c", "rh_set_percent", "rh_limit_percent", "limiting_surface"),
                    caption=f"{name}: set-points of {rule}",
                    where={"strategy": [rule]},
                    decimals={"t_out_c": 0},
                    source=name,
                )
                for name, data in able.items()
                for rule in [charts.part(data, charts.chosen_option(data, None), "strategy") or ""]
            ],
        ),
        chart_of(
            side_by_side.demand_durations(able),
            "duration",
            "Demand and delivery, sorted",
            "In how many hours of the year the chosen option demands and delivers more.",
            [
                grid(
                    data,
                    "duration",
                    ("exceeded_percent", "exceeded_h", "demand_kg_h", "delivered_kg_h"),
                    caption=f"{name}: load duration",
                    where={"option": [charts.chosen_option(data, None)]},
                    decimals={"exceeded_percent": 1, "exceeded_h": 1},
                    source=name,
                )
                for name, data in able.items()
            ],
        ),
        chart_of(
            side_by_side.humidity_maps(results),
            "humidity",
            "Relative humidity, hour by day",
            "Each column is a day of the year, midnight below.",
            [
                grid(
                    data,
                    "monthly",
                    ("month", "t_out_mean_c", "rh_mean_frac", "dry_h", "band_h", "condensation_h"),
                    caption=f"{name}: month by month",
                    where={"option": [charts.chosen_option(data, None)]},
                    source=name,
                )
                for name, data in results.items()
            ],
        ),
    ]
    return [Section(name="charts", title="Charts", charts=found)]
