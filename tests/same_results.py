"""Whether two versions of the program compute, write and say the same.

``python tests/same_results.py write OUT.json`` runs the dewmargin that is installed beside the
interpreter, by its command line alone, on the scenarios of a checkout, and writes the SHA-256 of
every file, message and exit code. ``python tests/same_results.py compare A.json B.json`` lists
where two such files differ, and then ends with exit code 1.

Left out are versions, dates, paths and hashes of code: JSON is hashed without them, Parquet by its
schema and columns, all else by its bytes with the paths and versions taken out.
It takes about four minutes of CPU.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from io import BytesIO
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

HERE = Path(__file__).resolve().parents[1]
HOUSE, SIMULATED = "scenarios/larch_house.toml", "scenarios/larch_house_simulated.toml"
# Of a manifest: what is of a machine or of the program's text, and not of the results; the files
# whose hashes it lists are looked at themselves.
VOLATILE = frozenset(
    {"versions", "outputs_sha256", "code_sha256", "pandas_version", "creator", "date", "seconds"}
)
VERSION = re.compile(
    r"(?i)\b(dewmargin|python|numba|numpy|pandas|pyarrow|matplotlib|scipy)[ /=v]*\d+(\.\d+)+"
)
PACKAGES = re.compile(r"[^\s\"']*/site-packages/")
# A part of a dataset is named after what decides it, the program's text included.
PART = re.compile(r"(part-\d+)-[0-9a-f]{32}")
COMMANDS = (
    *("check", "check-site", "compare", "demo", "extensions", "figure", "frontier", "prepare"),
    *("report", "schema", "sheet", "simulate", "size", "stress", "sweep", "verify", "weather"),
)
SITE_COMMANDS = ("thermistor", "circuit", "water", "measured")
# All mistakes of a file are told at once.
REFUSED = """
title = 3
[space.house]
floor_area_m2 = -1
bedrooms = "many"
[[surfaces]]
name = "glass"
temperature_index = 1.4
[[strategies]]
name = "odd"
rule = "none such"
"""
SWEEP = """
scenario = "larch_house.toml"
[[axes]]
input = "surfaces.window glass, edge.temperature_index"
name = "edge"
values = [0.45, 0.55]
[[axes]]
input = "space.house.leakage_m3_h_at_50pa"
values = [600, 1600]
[hourly]
cases = [0]
"""
# What is run, in order, by the name of its results; files go to a folder of that name.
RUNS: dict[str, list[str]] = {
    "help": ["--help"],
    **{f"help of {name}": [name, "--help"] for name in COMMANDS},
    **{f"help of {name}": ["check-site", name, "--help"] for name in SITE_COMMANDS},
    "schema": ["schema"],
    "extensions": ["extensions", "--check"],
    "weather": ["weather", "weather/larch_valley.epw"],
    "weather as JSON": ["weather", "weather/larch_valley.epw", "--json"],
    "check": ["check", HOUSE],
    "check as JSON": ["check", SIMULATED, "--json"],
    "refused": ["check", "scenarios/refused.toml"],
    "absent": ["compare", "scenarios/absent.toml"],
    "demo": ["demo", "--out", "demo"],
    "compare": ["compare", HOUSE, "--out", "compare", "--hourly-csv"],
    "compare simulated": ["compare", SIMULATED, "--out", "compare simulated", "--units", "ip"],
    "compare as JSON": ["compare", HOUSE, "--json", "--site", "scenarios/larch_house_visit.toml"],
    "compare a run": [
        *["compare", "--run", "scenarios/model/larch_house.sql"],
        *["--save-scenario", "saved.toml"],
    ],
    "verify": ["verify", "compare"],
    "side by side": ["report", "demo/house", "demo/simulation", "--out", "both.html"],
    "figure": ["figure", "demo/house", "trade_off", "--out", "trade_off.svg"],
    "sheet": ["sheet", HOUSE, "--out", "sheet.html"],
    "sheet as text": ["sheet", SIMULATED, "--text", "--units", "ip"],
    "frontier": ["frontier", HOUSE, "--limit", "condensation_h=20", "--out", "frontier"],
    "frontier of three": ["frontier", SIMULATED, "--knots", "3", "--json"],
    "size": ["size", HOUSE, "--out", "size"],
    "size simulated": ["size", SIMULATED, "--units", "ip"],
    "stress": ["stress", HOUSE, "--samples", "256", "--seed", "3", "--out", "stress"],
    "stress simulated": ["stress", SIMULATED, "--samples", "64", "--json"],
    "sweep": ["sweep", "scenarios/sweep.toml", "--out", "sweep"],
    "prepare": ["prepare", "scenarios/model/larch_house.idf", "--out", "ready.idf", "--json"],
    "thermistor": ["check-site", "thermistor", "--reading", "12500", "--lead", "12"],
    "circuit": ["check-site", "circuit", "--load", "contactor=8/32", "--valve", "20", "--run", "9"],
    "water": [
        *["check-site", "water", "--feed", "15", "--feed-temperature", "55"],
        *["--cold-temperature", "9", "--material", "pex", "--length", "9", "--trap", "50"],
    ],
    "measured": ["check-site", "measured", "--site", "scenarios/larch_house_visit.toml"],
    "symptoms": ["check-site", "measured", "--symptoms"],
}
SCRIPTS = {
    "walkthrough": ["scenarios/walkthrough.py"],
    "study": ["scenarios/study/study.py", "study"],
}


def results(checkout: Path, work: Path) -> dict[str, str]:
    """Run everything in an empty folder; return the hashes by name."""
    for name in ("scenarios", "weather"):
        shutil.copytree(checkout / name, work / name)
    (work / "scenarios" / "refused.toml").write_text(REFUSED, encoding="utf-8")
    (work / "scenarios" / "sweep.toml").write_text(SWEEP, encoding="utf-8")
    given = _files(work)
    (work / "study").mkdir()
    program = [str(Path(sys.executable).with_name("dewmargin"))]
    found: dict[str, str] = {}
    runs = {name: program + arguments for name, arguments in RUNS.items()}
    runs |= {name: [sys.executable, *arguments] for name, arguments in SCRIPTS.items()}
    for name, command in runs.items():
        print(name, flush=True)  # noqa: T201 - it takes minutes
        done = subprocess.run(
            command,
            cwd=work,
            capture_output=True,
            check=False,
            env=os.environ | {"NO_COLOR": "1", "COLUMNS": "100"},
        )
        found[f"{name}: exit code"] = str(done.returncode)
        found[f"{name}: output"] = _text(done.stdout, work)
        found[f"{name}: errors"] = _text(done.stderr, work)
    for file, before in _files(work).items():
        if given.get(file) != before:
            found[PART.sub(r"\1", file)] = _content(work / file, work)
    return found


def _files(folder: Path) -> dict[str, bytes]:
    """Return the digest of every file below a folder; only compiled Python is no result."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).digest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".pyc"
    }


def _content(path: Path, work: Path) -> str:
    raw = path.read_bytes()
    if path.suffix == ".parquet":
        return _table(raw, work)
    if path.suffix in {".json", ".ipynb"}:
        return _json(raw, work)
    return _text(raw, work)


def _text(raw: bytes, work: Path) -> str:
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        return hashlib.sha256(raw).hexdigest()
    if text.lstrip().startswith("{"):
        try:
            return _json(raw, work)
        except ValueError:
            pass
    return hashlib.sha256(_plain(text, work).encode("utf-8")).hexdigest()


def _plain(text: str, work: Path) -> str:
    """Return a text without paths, versions and what names of parts hold of the program."""
    text = PACKAGES.sub("PACKAGES/", text.replace(str(work), "WORK"))
    return PART.sub(r"\1", VERSION.sub(r"\1", text))


def _json(raw: bytes, work: Path) -> str:
    text = json.dumps(_without(json.loads(raw), work), sort_keys=True)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _without(said: object, work: Path) -> object:
    """Return a document without what is of a machine."""
    if isinstance(said, dict):
        return {
            _plain(key, work): _without(value, work)
            for key, value in said.items()
            if key not in VOLATILE
        }
    if isinstance(said, list):
        return [_without(value, work) for value in said]
    if isinstance(said, str):
        return _plain(said, work)
    return said


def _table(raw: bytes, work: Path) -> str:
    """Hash schema, metadata without what is of a machine, and the columns in one piece."""
    table: Any = pq.read_table(BytesIO(raw))
    digest = hashlib.sha256()
    for key, value in sorted((table.schema.metadata or {}).items()):
        digest.update(key + _json(value, work).encode())
    plain = table.replace_schema_metadata(None).combine_chunks()
    digest.update(str(plain.schema).encode())
    sink = BytesIO()
    with pa.ipc.new_stream(sink, plain.schema) as stream:
        stream.write_table(plain)
    digest.update(sink.getvalue())
    return digest.hexdigest()


def differences(one: dict[str, str], other: dict[str, str]) -> list[str]:
    """Return a line for each name that one lacks or that has another hash in each."""
    said = []
    for name in sorted(one.keys() | other.keys()):
        if name not in one:
            said.append(f"only in the second: {name}")
        elif name not in other:
            said.append(f"only in the first: {name}")
        elif one[name] != other[name]:
            said.append(f"differs: {name}")
    return said


def main() -> int:
    """Write or compare."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    commands = parser.add_subparsers(dest="command", required=True)
    write = commands.add_parser("write", help="run everything and write the hashes")
    write.add_argument("out", type=Path)
    write.add_argument("--checkout", type=Path, default=HERE, help="whose scenarios are run")
    write.add_argument("--keep", type=Path, help="folder for the results themselves, made anew")
    compare = commands.add_parser("compare", help="list where two files differ")
    compare.add_argument("one", type=Path)
    compare.add_argument("other", type=Path)
    asked = parser.parse_args()
    if asked.command == "compare":
        one, other = (json.loads(path.read_text("utf-8")) for path in (asked.one, asked.other))
        said = differences(one, other)
        print("\n".join(said) or f"all {len(one)} the same")  # noqa: T201 - its answer
        return 1 if said else 0
    with tempfile.TemporaryDirectory() as temporary:
        work = Path(temporary).resolve()
        found = results(asked.checkout.resolve(), work)
        if asked.keep is not None:
            shutil.copytree(work, asked.keep)
    asked.out.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
