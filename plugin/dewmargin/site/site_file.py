"""Site files: what was measured at one visit, kept beside the scenario."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import Field, model_validator

from dewmargin.core import toml_file
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.inputs import Inputs, quantity
from dewmargin.physics import air
from dewmargin.site.commissioning import Measured, symptom_found

if TYPE_CHECKING:
    from dewmargin.site.finding import Finding

HALF_LITRE_KG_S = 1800.0  # kilograms an hour, times the seconds that half a litre takes
CATCHES = ("feed_kg_h", "drain_kg_h")


def catch_kg_h(text: str) -> float | None:
    """Read a catch of water by its volume or by the time of half a litre; None if it is neither.

    Raises
    ------
    ValueError
        If half a litre takes no time.
    """
    for unit in ("L/hour", "s"):
        try:
            number = quantity(text, unit)
        except ValueError:
            continue
        if unit == "s" and number <= 0.0:
            raise ValueError(f"{text}: half a litre takes longer")
        return number if unit == "L/hour" else HALF_LITRE_KG_S / number
    return None


class Visit(Inputs):
    """When and where; nobody is named."""

    date: dt.date = Field(strict=True, description="of the visit")
    elevation_m: Annotated[float, Field(ge=-500.0, le=5000.0)] = Field(description="above the sea")
    notes: str = Field("", description="what else was seen; used nowhere")


class PadVisit(Inputs):
    """What was measured on a pad that ran wet for a quarter of an hour, in a heating call."""

    equipment: str = Field(description="its name in the scenario")
    supply: str | None = Field(
        None, description="name of the supply that fed it, whose temperature is then as measured"
    )
    feed_kg_h: float = Field(description='timed catch; also by volume, or of half a litre: "120 s"')
    drain_kg_h: float = Field(description="likewise; 0 if nothing drains")
    t_feed_c: float = Field(description="at the nozzle")
    t_drain_c: float = Field(description="in the drain's stream")
    t_in_c: float = Field(description="air before the pad: of the plenum")
    t_out_c: float = Field(description="air behind the pad")
    room_c: float = Field(description="room air")
    room_rh: float = Field(description="room air, as a fraction")
    static_pa: float | None = Field(None, description="between the plenums, bypass open")
    valve_v: float | None = Field(None, description="at the valve, drawing")
    plant_kw: float | None = Field(
        None,
        description="heat output of the plant, of several units the share of one; default: by the "
        "scenario, if that tells",
    )

    @model_validator(mode="before")
    @classmethod
    def _catches(cls, data: Any) -> Any:  # noqa: ANN401 - anything a file may hold
        """Turn catches by volume or time into kilograms an hour."""
        if not isinstance(data, dict):
            return data
        read = {
            key: found
            for key in CATCHES
            if isinstance(data.get(key), str) and (found := _catch(key, data[key])) is not None
        }
        return data | read


def _catch(key: str, text: str) -> float | None:
    try:
        return catch_kg_h(text)
    except ValueError as error:
        raise ValueError(f"{key}: {error}") from error


class _SiteDocument(Inputs):
    """The file as a whole."""

    visit: Visit
    pad: PadVisit


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFile:
    """A checked site file.

    Attributes
    ----------
    file : Path
        Where it was read.
    sha256 : str
        Hash of the file.
    visit : Visit
    equipment : str
        Name of the pad in the scenario.
    supply : str or None
        Name of the supply that fed it.
    measured : Measured
        What was measured.
    """

    file: Path
    sha256: str
    visit: Visit
    equipment: str
    supply: str | None
    measured: Measured

    def refused(self, key: str, what: str, *, hint: str | None = None) -> InputError:
        """Return the error that refuses a key of the file."""
        return InputError(what, file=self.file, where=key, hint=hint)


def placed(error: InputError, path: Path) -> InputError:
    """Return an error about a measured value with its place in the file."""
    where = (error.where or "").replace("measured: ", "pad.")
    return type(error)(error.what, file=path, where=where, hint=error.hint)


def read_site(path: str | Path) -> SiteFile:
    """Read and check a site file.

    Parameters
    ----------
    path : path
        TOML, at most 1 MB.

    Raises
    ------
    InputError
        If the file cannot be read, a key is unknown, missing or has a bad value, or the values
        cannot be; the message names the file and the key.
    """
    path = Path(path)
    raw = toml_file.read(path, "a site file")
    whole = toml_file.checked(_SiteDocument, toml_file.document(raw, path), path, "")
    values = whole.pad.model_dump(exclude={"equipment", "supply"})
    try:
        measured = Measured(**values, p_pa=air.standard_pressure(whole.visit.elevation_m))
    except OutOfRangeError as error:
        raise placed(error, path) from error
    return SiteFile(
        file=path,
        sha256=hashlib.sha256(raw).hexdigest(),
        visit=whole.visit,
        equipment=whole.pad.equipment,
        supply=whole.pad.supply,
        measured=measured,
    )


def site_text(visit: Visit, pad: PadVisit) -> str:
    """Return a site file's text."""
    lines = ['# Measured on site; each value may carry its unit as text, such as "140 degF".']
    for name, table in (("visit", visit), ("pad", pad)):
        lines += ["", f"[{name}]"]
        for key, value in table.model_dump(exclude_none=True).items():
            if value == "":
                continue
            shown = toml_file.quoted(value) if isinstance(value, str) else value
            lines.append(f"{key} = {shown:.6g}" if isinstance(value, float) else f"{key} = {shown}")
    return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replaced:
    """An input of a scenario that was measured.

    Attributes
    ----------
    key : str
        Its place in the scenario.
    old : str
        What the scenario says.
    new : float
        What is used instead.
    why : str
        What was measured.
    """

    key: str
    old: str
    new: float
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AsMeasured:
    """What a visit changes in a scenario.

    Attributes
    ----------
    site : SiteFile
    replaced : tuple of Replaced
    kept : tuple of str
        What the scenario keeps although it was looked at, and why.
    findings : tuple of Finding
        What was measured, against what the scenario says.
    symptoms : tuple of str
        Keys of `SYMPTOMS`.
    """

    site: SiteFile
    replaced: tuple[Replaced, ...]
    kept: tuple[str, ...]
    findings: tuple[Finding, ...]
    symptoms: tuple[str, ...]

    @property
    def head(self) -> str:
        """Which visit, in a sentence's words."""
        return f"as measured on {self.site.visit.date} ({self.site.file.name})"

    def lines(self) -> list[str]:
        """Return what is replaced, what is kept, and what was found."""
        return [
            f"{self.site.equipment}, {self.head}:",
            *(f"  {each.key}: {each.old} → {each.new:g} ({each.why})" for each in self.replaced),
            *(f"  kept: {why}" for why in self.kept),
            *(f"  {line}" for key in self.symptoms for line in symptom_found(key)),
            *(f"  {line}" for finding in self.findings for line in finding.lines()),
        ]

    def document(self) -> dict[str, Any]:
        """Return the same for a manifest or a JSON document."""
        return {
            "file": self.site.file.name,
            "sha256": self.site.sha256,
            "date": self.site.visit.date.isoformat(),
            "equipment": self.site.equipment,
            "replaced": [
                {"key": each.key, "old": each.old, "new": each.new, "why": each.why}
                for each in self.replaced
            ],
            "kept": list(self.kept),
            "symptoms": list(self.symptoms),
            "findings": [
                {"severity": each.severity, "what": each.what, "action": each.action}
                for each in self.findings
            ],
        }
