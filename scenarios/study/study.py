"""The worked study: what decides how much to humidify, and which set-point line keeps windows dry.

``python scenarios/study/study.py DIR`` makes the weather of four invented climates in DIR/inputs,
solves sweep.toml there, and writes DIR/cases.parquet, figure.svg and answer.md. Those that lie
beside this file were made so. About a minute of CPU.
"""

from __future__ import annotations

import runpy
import shutil
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

import dewmargin
from dewmargin.plot import style

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

HERE = Path(__file__).resolve().parent
WEATHER_SCRIPT = HERE.parents[1] / "weather" / "make_weather.py"

CLIMATES = {
    "larch_valley.epw": "Larch Valley",
    "birch_plain.epw": "Birch Plain",
    "juniper_plateau.epw": "Juniper Plateau",
    "alder_coast.epw": "Alder Coast",
}
*COLD, MILD = CLIMATES.values()
INPUTS = ["climate", "leakage", "bedrooms", "u_factor", "feed"]
OPTION = ["strategy", "equipment", "supply"]
NUMBERS = ["demand_kg", "delivered_kg", "feed_l", "bought_kwh", "condensation_h", "dry_h"]
BOUGHT = ["water_heating_kwh", "space_heating_kwh", "fan_kwh", "device_kwh", "fuel_kwh"]
# Rules that a plain controller can be set to, and those that know the windows.
HELD = ["hold 40 %", "hold 35 %", "hold 30 %", "gentle reset", "follow the cold"]
KNOWING = ["windows 1 K dry", "windows 3 K dry"]
ON_HEATING, ON_HUMIDITY = "pad on heating call", "pad on humidity call"
COLD_FEED, HOT_FEED = "cold", "hot 55 °C"
USUAL_LEAKAGE, USUAL_BEDROOMS = 1100, 3
GOOD_GLASS, POOR_GLASS = 1.1, (2.0, 2.8)  # U-factors, W/(m2 K)
SMALL, LARGE = 6, 15  # kg/h, the orifices
ALLOWED_H = 10.0  # of condensation that a rule may add and still keeps the windows dry
LEAST_DEMAND_KG = 100.0  # below it a litre for each kilogram says little


def inputs(folder: Path) -> Path:
    """Write all that the sweep reads into a folder; return the sweep's file."""
    folder.mkdir(parents=True, exist_ok=True)
    weather = runpy.run_path(str(WEATHER_SCRIPT))
    for place in weather["PLACES"]:
        weather["main"](folder, place)
    for name in ("house.toml", "sweep.toml"):
        shutil.copy(HERE / name, folder / name)
    return folder / "sweep.toml"


def cases(found: dewmargin.Sweep) -> pd.DataFrame:
    """Return what is kept of the dataset: a row a case and option, its inputs and six numbers."""
    frame = found.to_pandas()
    frame["bought_kwh"] = frame[BOUGHT].sum(axis=1)
    frame["climate"] = frame["climate"].astype(object).map(CLIMATES)
    kept = frame[[*INPUTS, *OPTION, *NUMBERS]].copy()
    kept[NUMBERS] = kept[NUMBERS].round(2)
    for name in ("climate", *OPTION):
        kept[name] = kept[name].astype("category")
    return kept


def humidified(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the rows with a humidifier, with the hours of condensation that it added."""
    names = frame.astype(dict.fromkeys(("climate", *OPTION), object))
    dry = names[names["strategy"].isna()].set_index(INPUTS)["condensation_h"]
    with_device = names[names["strategy"].notna()].join(dry.rename("without_h"), on=INPUTS)
    with_device["added_h"] = with_device["condensation_h"] - with_device["without_h"]
    return with_device


def able(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of the device that lacks least: what the rules do is seen there."""
    chosen = {"equipment": ON_HUMIDITY, "supply": COLD_FEED, "feed": LARGE}
    return rows[(rows[list(chosen)] == pd.Series(chosen)).all(axis=1)]


def share(rows: pd.DataFrame, number: str, of: str) -> float:
    """Return the share of a number's variance that is between the means of an input's values."""
    return float(rows.groupby(of)[number].mean().var(ddof=0) / rows[number].var(ddof=0))


def driest_that_suits(rows: pd.DataFrame, climate: str, u_factor: float) -> str:
    """Return the held line with fewest dry hours of those that keep the windows dry.

    It must do so in every house of a climate and glazing.
    """
    mine = rows[(rows["climate"] == climate) & (rows["u_factor"] == u_factor)]
    by = mine.groupby("strategy")
    added, dry = by["added_h"].max(), by["dry_h"].median()
    suits = [name for name in HELD if added[name] <= ALLOWED_H]
    return min(suits, key=lambda name: dry[name])  # the most humid of equals comes first


def in_pairs(rows: pd.DataFrame) -> pd.DataFrame:
    """Return cold feed beside hot, where there is a demand worth the name.

    Columns are litres fed and kilowatt-hours bought for each kilogram, and the share unmet, each
    followed by the feed.
    """
    worth = rows[rows["demand_kg"] >= LEAST_DEMAND_KG]
    each = worth.assign(
        litres=worth["feed_l"] / worth["delivered_kg"],
        kwh=worth["bought_kwh"] / worth["delivered_kg"],
        unmet=1.0 - worth["delivered_kg"] / worth["demand_kg"],
    )
    wide = each.pivot_table(
        index=[*INPUTS, "strategy", "equipment"],
        columns="supply",
        values=["litres", "kwh", "unmet"],
    )
    wide.columns = [f"{number} {supply}" for number, supply in wide.columns]
    return wide.reset_index()


def lines(frame: pd.DataFrame) -> list[str]:
    """Return the answer in five lines; all numbers are of the cases."""
    rows = humidified(frame)
    best, pairs = able(rows), in_pairs(rows)
    return [
        _leakage(frame, best),
        _held(best),
        _knowing(best),
        _feed(pairs),
        _orifice(pairs),
    ]


def _leakage(frame: pd.DataFrame, best: pd.DataFrame) -> str:
    middle = best[(best["strategy"] == "hold 35 %") & (best["bedrooms"] == USUAL_BEDROOMS)]
    demand = middle[middle["climate"] == COLD[0]].groupby("leakage")["demand_kg"].median()
    shares = {
        of: [100.0 * share(best[best["climate"] == c], "demand_kg", of) for c in COLD]
        for of in ("leakage", "strategy", "bedrooms")
    }
    mild = frame[(frame["climate"] == MILD) & frame["strategy"].isna()]
    without = mild[mild["leakage"] <= USUAL_LEAKAGE]["dry_h"].max()
    return (
        f"Leakage decides the demand: holding 35 % in {COLD[0]} takes {demand.iloc[0]:.0f} kg a "
        f"year in a house of {demand.index[0]} m³/h at 50 Pa and {demand.iloc[-1]:.0f} kg in one "
        f"of {demand.index[-1]}. In the three cold climates it makes "
        f"{_span(shares['leakage'])} % of the variance of demand, the rule "
        f"{_span(shares['strategy'])} %, the people {_span(shares['bedrooms'])} %; on "
        f"{MILD} a house of {USUAL_LEAKAGE} m³/h or less has {without:.0f} dry hours without a "
        "humidifier and needs none."
    )


def _held(best: pd.DataFrame) -> str:
    good = best[best["u_factor"] <= GOOD_GLASS]["added_h"].max()
    said = []
    for u_factor in POOR_GLASS:
        suits: dict[str, list[str]] = {}
        for climate in CLIMATES.values():
            suits.setdefault(driest_that_suits(best, climate, u_factor), []).append(climate)
        each = ", ".join(f"{name!r} ({', '.join(where)})" for name, where in suits.items())
        said.append(f"with {u_factor:.1f} {each}")
    worst = best[best["strategy"] == "hold 40 %"]["added_h"].max()
    return (
        "Glass and climate decide the line. Fewest dry hours with at most "
        f"{ALLOWED_H:.0f} h of condensation added in any house: with glass of {GOOD_GLASS} "
        f"W/(m² K) or better 'hold 40 %' everywhere ({good:.0f} h added), {'; '.join(said)}. "
        f"At worst 'hold 40 %' adds {worst:.0f} h."
    )


def _knowing(best: pd.DataFrame) -> str:
    mine = best[(best["climate"] == COLD[0]) & (best["u_factor"] == POOR_GLASS[-1])]
    dry = mine.groupby("strategy")["dry_h"].median()
    knowing = mine[mine["strategy"] == "windows 3 K dry"]
    leaky = knowing[knowing["leakage"] >= USUAL_LEAKAGE]
    return (
        "Dry windows by a line cost dry rooms, a rule that knows the windows costs less: in "
        f"{COLD[0]} with glass of {POOR_GLASS[-1]} W/(m² K) 'follow the cold' leaves "
        f"{dry['follow the cold']:.0f} "
        f"dry hours (median house), 'windows 3 K dry' {dry['windows 3 K dry']:.0f} and adds "
        f"{leaky['added_h'].max():.0f} h of condensation from {USUAL_LEAKAGE} m³/h on; but up to "
        f"{knowing['added_h'].max():.0f} h in tight houses full of people, which stay humid when "
        "it turns cold and whose humidifier can take nothing away."
    )


def _feed(pairs: pd.DataFrame) -> str:
    more = pd.DataFrame(
        {
            "equipment": pairs["equipment"],
            "litres": 100.0 * (pairs[f"litres {HOT_FEED}"] / pairs[f"litres {COLD_FEED}"] - 1.0),
            "kwh": 100.0 * (pairs[f"kwh {HOT_FEED}"] / pairs[f"kwh {COLD_FEED}"] - 1.0),
        }
    )
    by = more.groupby("equipment").median()
    dearer = 100.0 * (more["kwh"] > 0.0).mean()
    return (
        f"Hot feed saves water and no energy: for each kg delivered "
        f"{-by.loc[ON_HEATING, 'litres']:.0f} % less water on heating call and "
        f"{-by.loc[ON_HUMIDITY, 'litres']:.0f} % on humidity call (medians), and "
        f"{by.loc[ON_HEATING, 'kwh']:.0f} and {by.loc[ON_HUMIDITY, 'kwh']:.0f} % more energy "
        f"bought, more in {dearer:.0f} % of {len(more)} pairs; with a gas water heater of 0.62 "
        "beside a furnace of 0.90."
    )


def _orifice(pairs: pd.DataFrame) -> str:
    litres, unmet = f"litres {COLD_FEED}", f"unmet {COLD_FEED}"
    by = pairs.groupby(["equipment", "feed"])[[litres, unmet]].median()
    small, large = by.loc[(ON_HEATING, SMALL)], by.loc[(ON_HEATING, LARGE)]
    call = by.loc[(ON_HUMIDITY, LARGE)]
    waiting = pairs[pairs["equipment"] == ON_HEATING].groupby("climate")[unmet].median()
    return (
        f"The orifice saves more than hot water: {SMALL} kg/h instead of {LARGE} takes "
        f"{small[litres]:.1f} l instead of {large[litres]:.1f} for each kg (cold feed, heating "
        f"call) and leaves {100 * small[unmet]:.1f} % of the demand unmet instead of "
        f"{100 * large[unmet]:.1f} %, if it still wets the whole pad. What is unmet is the wait "
        f"for heat ({_span([100 * waiting[c] for c in COLD])} % in the cold climates); on humidity "
        f"call it is {100 * call[unmet]:.1f} %, at {call[litres]:.1f} l for each kg."
    )


def _span(values: list[float]) -> str:
    least, most = (f"{value:.0f}" for value in (min(values), max(values)))
    return least if least == most else f"{least} to {most}"


def answer(frame: pd.DataFrame) -> str:
    """Return the answer as a page of Markdown."""
    told = "\n".join(f"{i}. {line}" for i, line in enumerate(lines(frame), 1))
    n_cases = len(frame[frame["strategy"].isna()])
    return (
        "# How much to humidify, and which line keeps the windows dry\n\n"
        f"{len(frame)} case-years: {n_cases} cases (4 climates, 6 leakages, 3 counts of bedrooms, "
        "5 glazings, 2 orifices), each with no humidifier and with 7 rules, 2 pads and cold and "
        "hot feed.\n"
        "House, climates and devices are invented: the numbers hold for them and no real place. "
        f"Made by dewmargin {version('dewmargin')} and study.py.\n\n"
        f"{told}\n\n"
        "![Demand, condensation, dry hours, hot and cold feed](figure.svg)\n\n"
        "Dry hours are heating-season hours below 30 %; added hours are those of condensation on "
        "glass, centre or edge with a metal spacer, beyond those without humidifier. Lines 1 to 3 "
        f"are of the pad on humidity call with {LARGE} kg/h of cold feed, which lacks least; lines "
        f"4 and 5 of all cases with a demand of {LEAST_DEMAND_KG:.0f} kg or more. A better glazing "
        "changes the window's temperature here, not the heat loss. A share of variance is that "
        "between the means of an input's values, over the values that the sweep names.\n"
    )


def draw(frame: pd.DataFrame) -> Figure:
    """Return the figure."""
    rows = humidified(frame)
    best, pairs = able(rows), in_pairs(rows)
    with style.styled():
        figure = style.figure(6.4)
        axes: Any = figure.subplots(2, 2)
        _draw_demand(axes[0, 0], best)
        _draw_condensation(axes[0, 1], best)
        _draw_dry(axes[1, 0], best)
        _draw_feed(axes[1, 1], pairs)
    return figure


def _draw_demand(ax: Axes, best: pd.DataFrame) -> None:
    mine = best[best["strategy"] == "hold 35 %"]
    for i, climate in enumerate(CLIMATES.values()):
        wide = mine[mine["climate"] == climate].pivot_table(
            index="leakage", columns="bedrooms", values="demand_kg"
        )
        look = style.look(i)
        ax.fill_between(
            wide.index, wide.min(axis=1), wide.max(axis=1), color=look.colour, alpha=0.15
        )
        ax.plot(
            wide.index, wide[3], color=look.colour, ls=look.dash, marker=look.mark, label=climate
        )
    ax.set(
        title="Leakage decides the demand",
        xlabel="leakage at 50 Pa [m³/h]",
        ylabel="demand of 'hold 35 %' [kg a year]",
    )
    ax.legend(title="band: 1 to 5 bedrooms", title_fontsize=8)


def _draw_condensation(ax: Axes, best: pd.DataFrame) -> None:
    mine = best[best["climate"] == COLD[0]]
    worst = mine.pivot_table(index="u_factor", columns="strategy", values="added_h", aggfunc="max")
    for i, name in enumerate(["hold 40 %", "hold 35 %", "hold 30 %", *KNOWING, "follow the cold"]):
        look = style.look(i)
        ax.plot(
            worst.index, worst[name], color=look.colour, ls=look.dash, marker=look.mark, label=name
        )
    ax.set(
        title=f"Glass decides the line ({COLD[0]})",
        xlabel="U-factor of the glass [W/(m² K)]",
        ylabel="condensation added, worst house [h]",
    )
    ax.legend()


def _draw_dry(ax: Axes, best: pd.DataFrame) -> None:
    names = [*HELD, *KNOWING]
    mine = best[best["u_factor"] == POOR_GLASS[-1]]
    dry = mine.pivot_table(index="strategy", columns="climate", values="dry_h", aggfunc="median")
    for i, climate in enumerate(CLIMATES.values()):
        look = style.look(i)
        rows = [k + 0.12 * (i - 1.5) for k in range(len(names))]
        ax.plot(
            dry.loc[names, climate], rows, color=look.colour, ls="", marker=look.mark, label=climate
        )
    ax.set_yticks(range(len(names)), names)
    ax.invert_yaxis()
    ax.set(
        title=f"Dry windows cost dry rooms (glass of {POOR_GLASS[-1]})",
        xlabel="dry hours left, median house [h]",
    )
    style.bare(ax)
    ax.legend(loc="lower right")


def _draw_feed(ax: Axes, pairs: pd.DataFrame) -> None:
    by = pairs.groupby(["equipment", "feed"]).median(numeric_only=True)
    for i, ((equipment, feed), row) in enumerate(by.iterrows()):
        look = style.look(i)
        x, y = (
            [row[f"{number} {s}"] for s in (COLD_FEED, HOT_FEED)] for number in ("litres", "kwh")
        )
        call = equipment.removeprefix("pad on ")
        ax.plot(x, y, color=look.colour, marker=look.mark, label=f"{call}, {feed} kg/h")
        ax.plot(x[1], y[1], color=look.colour, marker=look.mark, mfc=style.PAPER)
    ax.set(
        title="Hot feed saves water, no energy",
        xlabel="water fed for each kg delivered [l/kg]",
        ylabel="energy bought for each kg [kWh/kg]",
        xlim=(0.0, None),
        ylim=(0.0, 1.1),
    )
    ax.legend(title="filled: cold feed, open: hot; medians", title_fontsize=8, loc="lower right")


def main(folder: Path) -> None:
    """Run the study and write its results."""
    frame = cases(dewmargin.sweep(inputs(folder / "inputs"), folder / "sweep"))
    frame.to_parquet(
        folder / "cases.parquet", compression="zstd", compression_level=19, index=False
    )
    (folder / "figure.svg").write_bytes(style.content(draw(frame), "svg"))
    told = answer(frame)
    (folder / "answer.md").write_text(told, encoding="utf-8", newline="\n")
    print(told)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
