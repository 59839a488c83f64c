"""The record of a study: what every manifest says, hashes of its inputs, and its tables written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from dewmargin.errors import InputError
from dewmargin.reports import folder
from dewmargin.reports.csv import CsvTables
from dewmargin.reports.parquet import ParquetTables

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.columns import Table
    from dewmargin.scenario import Scenario
    from dewmargin.units import Units
    from dewmargin.weather.epw import Weather


def about(scenario: Scenario, inputs: Mapping[str, str]) -> dict[str, Any]:
    """Return what every manifest says: versions, scenario, hashes of the inputs."""
    return {
        "schema_version": folder.SCHEMA_VERSION,
        "versions": folder.versions(),
        "title": scenario.title,
        "scenario": scenario.resolved(),
        "given": [{"key": key, "value": value} for key, value in scenario.given()],
        "defaults": [
            {"key": key, "value": value, "source": source}
            for key, value, source in scenario.defaults()
        ],
        "inputs_sha256": dict(inputs),
        **({} if scenario.site is None else {"site": scenario.site.document()}),
    }


def units_told(units: Units) -> dict[str, Any]:
    """Return what a manifest says of the units of what people read; all else is SI."""
    return {"units": {"csv": units, "page": units}}


def write_tables(
    out: Path,
    tables: Mapping[str, Table],
    said: Mapping[str, Any],
    texts: Mapping[str, bytes] | None = None,
    *,
    units: Units = "si",
) -> list[Path]:
    """Write tables as Parquet and CSV, other files beside them, and last what the manifest says.

    CSV is in `units`, Parquet in SI.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    said = dict(said) | units_told(units)
    files = folder.files_of([ParquetTables(), CsvTables()], tables, said)
    return folder.write_folder(out, files | dict(texts or {}), about=said)


def inputs_sha256(scenario: Scenario, weather: Weather | None) -> dict[str, str]:
    """Return the hash of every input, by role and name.

    Raises
    ------
    InputError
        If a file that the space was read from cannot be read any more.
    """
    # Not by path: the same inputs give the same bytes wherever they lie.
    inputs = {f"scenario: {scenario.file.name}": scenario.sha256}
    if scenario.site is not None:
        inputs[f"site: {scenario.site.site.file.name}"] = scenario.site.site.sha256
    if weather is not None:
        inputs[f"weather: {Path(weather.file).name}"] = weather.sha256
    for path in scenario.space.files(scenario.file.parent):
        try:
            inputs[f"{scenario.space_kind}: {path.name}"] = folder.sha256(path)
        except OSError as error:
            raise InputError(f"cannot be read: {error.strerror}", file=path) from error
    return inputs
