"""The wall of a comparison: every option is screened, cautioned of and written."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dewmargin.errors import InputError
from dewmargin.physics.assembly import Assembly, WallLayer
from dewmargin.scenario import load
from dewmargin.studies.compare.comparison import compare, compare_case
from dewmargin.studies.demo import demo_folder


def layer(name: str, resistance: float, sd: float) -> WallLayer:
    return WallLayer(name=name, resistance_m2_k_w=resistance, sd_m=sd)


@pytest.fixture(scope="module")
def demo():
    return compare(demo_folder() / "scenarios" / "larch_house.toml")


def test_the_comparison_screens_every_option_and_cautions(demo, tmp_path) -> None:
    dry, chosen = demo.options[0].wall, demo.chosen.wall

    table = demo.table("assembly").data
    i = table["option"].index(demo.chosen.name)
    assert table["held_max_g_m2"][i] == chosen.held_g_m2.max() > dry.held_g_m2.max()
    assert chosen.leak_condensation_h > dry.leak_condensation_h > 0.0
    (caution,) = [w for w in demo.warnings if w.startswith("timber-frame wall, ")]
    assert f"up to {chosen.held_g_m2.max():.0f} g/m2 of water" in caution
    assert "close leaks before humidifying" in caution
    assert any("air that leaks, rain, wicking" in w for w in demo.warnings)
    months = demo.table("assembly_months").data
    mine = [k for k, option in enumerate(months["option"]) if option == demo.chosen.name]
    assert [months["month"][k] for k in mine] == list(range(1, 13))
    demo.write(tmp_path / "out")
    assert (tmp_path / "out" / "assembly.parquet").exists()


def test_a_tight_wall_and_a_wet_one_are_said_to_be(demo) -> None:
    wool, foil = layer("wool", 4.0, 0.15), layer("foil", 0.0, 200.0)
    said = []
    for layers in ((foil, wool), (wool, foil)):
        scenario = replace(demo.scenario, assembly=Assembly(name="wall", layers=layers))
        said += [w for w in compare(scenario).warnings if w.startswith("wall, ")]

    assert "nothing condenses inside by diffusion" in said[0]
    assert "do not dry within the year: do not humidify it so" in said[1]
    assert "more than the 200 that stay without running off" in said[1]


def test_without_an_assembly_nothing_is_screened_or_written(demo, tmp_path) -> None:
    result = compare(replace(demo.scenario, assembly=None))

    written = result.write(tmp_path / "out")

    assert result.options[1].wall is None
    assert not [path for path in written if "assembly" in path.name]
    assert not [w for w in result.warnings if "screening" in w]


def test_a_part_of_a_year_is_not_screened() -> None:
    scenario = load(demo_folder() / "scenarios" / "larch_house.toml")
    case = scenario.case(scenario.read_weather()).first(24 * 60)
    supplies = tuple(s.model_copy(update={"cold_c": 8.0}) for s in scenario.supplies)

    with pytest.raises(InputError, match=r"assembly: needs all 12 months, the space has 2"):
        compare_case(replace(scenario, supplies=supplies), None, case)
