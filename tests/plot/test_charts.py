"""Charts: what is drawn is what the tables say, the same each time, and nothing else is touched."""

from __future__ import annotations

import subprocess
import sys
from typing import TYPE_CHECKING

import matplotlib as mpl
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import page_case
from dewmargin import plot
from dewmargin.core.stored import Data
from dewmargin.errors import InputError
from dewmargin.plot import charts, style
from dewmargin.testing_cases import small_results

if TYPE_CHECKING:
    from pathlib import Path

    from matplotlib.axes import Axes

ONE = "hold 40 % | bypass pad | cold"
# What is drawn is the number itself, but for the arithmetic of per cent.
SAME = 1e-12


@pytest.fixture(scope="module")
def data() -> Data:
    return Data.of(page_case.demo())


def parquet(name: str) -> pd.DataFrame:
    return pd.read_parquet(page_case.demo() / f"{name}.parquet")


def lines(ax: Axes) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return what lines with more than two points are drawn."""
    drawn = [(line.get_xdata(), line.get_ydata()) for line in ax.get_lines()]
    return [(np.asarray(x), np.asarray(y)) for x, y in drawn if np.size(x) > 2]


def test_set_points_and_limits_are_drawn_as_the_tables_say(data) -> None:
    ax = plot.setpoint_lines(data, option=ONE)

    *limits, (t_out, rh) = lines(ax)
    stored = parquet("settings").query("strategy == 'hold 40 %'")
    np.testing.assert_allclose(t_out, stored["t_out_c"], rtol=SAME)
    np.testing.assert_allclose(rh, 100.0 * stored["rh_set_frac"], rtol=SAME)
    faces = parquet("limits")
    assert len(limits) == faces["surface"].nunique() == 2
    for (x, y), (_, of) in zip(limits, faces.groupby("surface", sort=False), strict=True):
        np.testing.assert_allclose(x, of["t_out_c"], rtol=SAME)
        np.testing.assert_allclose(y, 100.0 * of["rh_max_frac"], rtol=SAME)


def test_the_cloud_is_darkest_where_most_hours_are(data) -> None:
    ax = plot.setpoint_lines(data, option=ONE)

    picture = ax.get_images()[0].get_array()
    hours = parquet("hourly").query(f"option == '{ONE}'")
    count, _, _ = np.histogram2d(
        100.0 * hours["rh_frac"], hours["t_out_c"], bins=(35, 60), range=((0, 70), ax.get_xlim())
    )
    opacity = np.asarray(picture)[..., 3]
    assert opacity.shape == count.shape
    assert np.all((opacity > 0.0) == (count > 0))
    assert opacity[np.unravel_index(count.argmax(), count.shape)] == opacity.max()


def test_every_strategy_has_a_panel_of_its_own_on_the_chosen_equipment_and_water(data) -> None:
    panels = plot.strategies(data)

    titles = [ax.get_title(loc="left") for ax in panels]
    assert titles == [
        "hold 35 %",
        "hold 40 %",
        "follow the cold",
        "gentle reset",
        "windows 1 K dry ✓",
        "windows 3 K dry",
    ]
    stored = parquet("settings")
    for ax, title in zip(panels, titles, strict=True):
        of = stored[stored["strategy"] == title.removesuffix(" ✓")]
        np.testing.assert_allclose(lines(ax)[-1][1], 100.0 * of["rh_set_frac"], rtol=SAME)


def test_demand_and_delivery_of_each_day_add_up_to_the_year(data) -> None:
    ax = plot.through_the_year(data, option=ONE)

    (_, given), (_, demand) = lines(ax)
    year = parquet("comparison").set_index("option").loc[ONE]
    assert demand.sum() == pytest.approx(year["demand_kg"], rel=1e-9)
    assert given.sum() == pytest.approx(year["delivered_kg"], rel=1e-9)


def test_load_durations_never_rise_and_end_in_the_largest_hour(data) -> None:
    ax = plot.load_duration(data, option=ONE)

    drawn = {line.get_label(): np.asarray(line.get_ydata()) for line in ax.get_lines()}
    assert list(drawn) == [
        "demand",
        "cold: could give",
        "cold: gives",
        "hot 55 °C: could give",
        "hot 55 °C: gives",
    ]
    for label, values in drawn.items():
        assert np.all(np.diff(values) <= 0.0), label
    hours = parquet("hourly").query(f"option == '{ONE}'")
    assert drawn["demand"][0] == pytest.approx(hours["demand_kg"].max(), rel=SAME)
    assert drawn["cold: gives"][0] == pytest.approx(hours["delivered_kg"].max(), rel=SAME)
    # It cannot give more than it could.
    assert np.all(drawn["cold: gives"] <= drawn["cold: could give"] * (1.0 + 1e-3))


@pytest.mark.parametrize(
    ("chart", "table", "column"),
    [
        ("humidity_map", "hourly", "rh_frac"),
        ("margin_map", "surfaces_hourly", "dew_margin_k"),
    ],
)
def test_a_map_has_a_column_a_day_and_a_row_an_hour(data, chart, table, column) -> None:
    ax = getattr(plot, chart)(data, option=ONE)

    grid = np.asarray(ax.get_images()[0].get_array())
    hours = parquet(table).query(f"option == '{ONE}'")
    if chart == "margin_map":
        worst = hours.loc[hours[column].idxmin(), "surface"]
        assert charts.worst_surface(data, ONE) == worst
        hours = hours[hours["surface"] == worst]
    np.testing.assert_array_equal(grid, hours[column].to_numpy().reshape(365, 24).T)


def test_classes_of_a_map_are_closed_below(data) -> None:
    """A humidity at the lower edge of the comfort band has the colour of the band."""
    norm = plot.humidity_map(data).get_images()[0].norm

    assert norm(0.30) == 2
    assert norm(0.30 - 1e-9) == 1


def test_bars_are_as_long_as_the_hours_of_each_surface(data) -> None:
    panels = plot.surface_hours(data)

    stored = parquet("surfaces")
    options = list(parquet("comparison")["option"])
    assert [ax.get_title(loc="left") for ax in panels] == list(stored["surface"].unique())
    for ax, (_, of) in zip(panels, stored.groupby("surface", sort=False), strict=True):
        rows = of.set_index("option").loc[options]
        for bars, column in zip(
            ax.containers, ("condensation_h", "wet_h", "runoff_h"), strict=True
        ):
            assert [bar.get_width() for bar in bars] == list(rows[column])


def test_water_goes_and_comes_in_bars_that_are_equally_long(data) -> None:
    goes, comes = plot.water(data)

    rows = parquet("comparison").set_index("option").iloc[1:]
    ends = [
        np.array([bar.get_x() + bar.get_width() for bar in ax.containers[-1]])
        for ax in (goes, comes)
    ]
    np.testing.assert_allclose(ends[0], rows["feed_l"], rtol=1e-9)
    np.testing.assert_allclose(ends[1], rows["feed_l"], rtol=1e-9)
    evaporated = [bar.get_width() for bar in goes.containers[0]]
    np.testing.assert_allclose(evaporated, rows["evaporated_l"], rtol=SAME)
    heated = [bar.get_width() for bar in comes.containers[1]]
    np.testing.assert_allclose(heated, rows["hot_feed_l"], rtol=SAME)


def test_energy_bars_end_at_what_is_taken_in_all(data) -> None:
    ax = plot.energy(data)

    rows = parquet("comparison").set_index("option").iloc[1:]
    kinds = ["feed_heat_kwh", "makeup_heat_kwh", "fan_kwh", "device_kwh", "fuel_kwh"]
    total = np.zeros(len(rows))
    for bars in ax.containers:
        total += [bar.get_width() for bar in bars]
    np.testing.assert_allclose(total, rows[kinds].sum(axis=1), rtol=1e-9)


def test_the_steps_of_the_trade_off_lie_above_all_options(data) -> None:
    ax = plot.trade_off(data)

    (x, best), *_ = lines(ax)
    rows = parquet("comparison")
    for hours, band in zip(rows["condensation_h"], rows["band_h"], strict=True):
        assert band <= best[x <= hours].max()
    assert set(zip(x, best, strict=True)) & set(
        zip(rows["condensation_h"], rows["band_h"], strict=True)
    )


def test_without_surfaces_comfort_is_set_against_water() -> None:
    data = Data.of(page_case.demo())
    tables = {
        name: data_table
        for name, data_table in data._tables.items()
        if name not in ("surfaces", "limits")
    }
    comparison = tables["comparison"]
    unknown = np.full(13, np.nan)
    tables["comparison"] = type(comparison)(
        columns=comparison.columns, data=dict(comparison.data) | {"condensation_h": unknown}
    )

    ax = plot.trade_off(Data(tables, data.about))

    assert ax.get_xlabel() == "water, l"


@pytest.mark.parametrize("name", [n for n in plot.NAMES if n != "frontier"])
@pytest.mark.parametrize("kind", style.KINDS)
def test_a_chart_is_the_same_bytes_each_time(name: str, kind: str, data) -> None:
    first, second = (style.content(plot.draw(name, data), kind) for _ in range(2))

    assert first == second


def test_matplotlib_s_settings_and_figures_are_left_alone(data) -> None:
    with mpl.rc_context({"font.size": 31.0, "axes.grid": False, "text.color": "pink"}):
        before = dict(mpl.rcParams)

        figure = plot.draw("setpoint_lines", data)
        style.content(figure, "svg")

        assert dict(mpl.rcParams) == before
        # And they do not reach the chart.
        assert figure.axes[0].xaxis.label.get_size() == 9.0


def test_drawing_does_not_load_pyplot() -> None:
    code = (
        "import sys; from dewmargin import plot; from dewmargin.plot import style;"
        "style.content(plot.draw('strategies', sys.argv[1]), 'svg');"
        "print('matplotlib.pyplot' in sys.modules)"
    )
    command = [sys.executable, "-c", code, page_case.demo()]

    done = subprocess.run(command, capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "False"


def test_axes_of_one_s_own_are_drawn_into(data) -> None:
    ax = Figure().subplots()

    for name in plot.OF_ONE:
        assert getattr(plot, name)(data, axes=ax) is ax


def test_results_and_their_folder_give_the_same_chart(tmp_path: Path) -> None:
    results = small_results()
    results.write(tmp_path / "out")

    one, other = (
        style.content(plot.draw("load_duration", of), "svg") for of in (results, tmp_path / "out")
    )

    assert one == other


def test_of_many_options_those_with_most_hours_in_the_band_are_shown(data, monkeypatch) -> None:
    monkeypatch.setattr(charts, "MOST_ROWS", 3)

    shown = charts.shown_options(data, baseline=True)

    rows = parquet("comparison").iloc[1:].nlargest(3, "band_h")["option"]
    chosen = data.about["chosen"]
    assert set(shown) == {"no humidifier", *rows, chosen}


def test_of_many_strategies_the_chosen_one_has_a_panel(data, monkeypatch) -> None:
    monkeypatch.setattr(charts, "MOST_PANELS", 2)

    shown = charts.one_a_strategy(data)

    assert shown == ["hold 35 % | bypass pad | hot 55 °C", data.about["chosen"]]


def test_of_many_surfaces_the_wettest_are_drawn(data, monkeypatch) -> None:
    monkeypatch.setattr(charts, "MOST_SURFACES", 1)

    assert charts.most_wetted(data) == ["window glass, edge"]


def test_a_long_name_is_cut_and_a_control_is_a_mark() -> None:
    assert charts.short("x" * 40) == "x" * 33 + "…"
    assert charts.short("a\nb\u202e") == "a\ufffdb\ufffd"


def refusal(name: str, source: object, **more: str) -> str:
    with pytest.raises(InputError) as caught:
        plot.draw(name, source, **more)
    return str(caught.value)


def test_an_unknown_option_is_refused(data) -> None:
    names = "; ".join(parquet("comparison")["option"])

    assert refusal("humidity_map", data, option="hold 41 %") == (
        f"results: has no option 'hold 41 %' (one of: {names})"
    )


def test_a_chart_of_all_options_takes_no_option(data) -> None:
    assert refusal("water", data, option=ONE) == (
        "water is a chart of all options (leave --option out)"
    )


def test_what_the_results_lack_is_not_drawn(data) -> None:
    assert refusal("frontier", data) == "there is nothing to show of frontier in these results"


def test_importing_the_package_does_not_import_matplotlib() -> None:
    code = (
        "import sys, dewmargin.plot, dewmargin.studies.compare.comparison; "
        "print('matplotlib' in sys.modules)"
    )

    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert done.stdout.strip() == "False"


def test_an_unknown_chart_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="has no attribute 'pie'"):
        _ = plot.pie
