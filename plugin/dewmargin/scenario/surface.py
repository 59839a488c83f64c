"""Surfaces of a scenario: how cold each is, told in one of many ways; how it takes vapour."""

from __future__ import annotations

import re
from difflib import get_close_matches
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, field_validator, model_validator

from dewmargin.case import SurfaceYear
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs, require_rising, temperature_points
from dewmargin.physics import air, glazing, series, surfaces
from dewmargin.physics.glazing import INSIDE_M2_K_W, FrameKind, Spacer
from dewmargin.physics.glazing import Kind as GlazingKind
from dewmargin.physics.mould import CLASS_OF, Material, Sensitivity
from dewmargin.physics.series import ClockHour

if TYPE_CHECKING:
    from dewmargin.case import HourlyCase
    from dewmargin.columns import FloatArray

Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Emissivity = Annotated[float, Field(ge=0.01, le=1.0)]
IndexChange = Annotated[float, Field(ge=-1.0, le=1.0)]

COLD_K = 10.0  # colder outdoors than this, a temperature index can be read off a simulation

KINDS = (
    "temperature_index",
    "temperature_index_points",
    "u_factor_w_m2_k",
    "glazing",
    "frame",
    "layers",
    "simulated",
    "construction",
)
_OF_RUN = ("simulated", "construction")
_WITH_PARTS = ("u_factor_w_m2_k", "glazing", "layers")
_LIKE_GLASS = re.compile(r"\b(glass|glazing|panes?|windows?|skylights?)\b", re.IGNORECASE)


class PaneInput(Inputs):
    """A pane of glazing told by its layers."""

    thickness_mm: Annotated[float, Field(ge=0.1, le=100.0)] = Field(
        4.0, description="Thickness; default: a usual one"
    )
    outer_emissivity: Emissivity = Field(
        surfaces.EMISSIVITY, description="Of its outer face; default: uncoated glass"
    )
    inner_emissivity: Emissivity = Field(
        surfaces.EMISSIVITY,
        description="Of its inner face; default: uncoated glass. Low-e coatings have 0.03 to 0.2",
    )


class GapInput(Inputs):
    """A gap between two panes."""

    width_mm: Annotated[float, Field(ge=1.0, le=200.0)] = Field(description="Between the panes")
    gas: Literal["air", "argon", "krypton"] = Field("air", description="What fills it")
    filled_frac: Fraction = Field(
        1.0, description="Share of the gas, the rest is air; 0.9 is a usual declaration"
    )


class Layers(Inputs):
    """Panes and gaps of a glazing, from outdoors inwards."""

    panes: tuple[PaneInput, ...] = Field(
        min_length=1, max_length=6, description="From outdoors inwards"
    )
    gaps: tuple[GapInput, ...] = Field((), max_length=5, description="One fewer than panes")
    height_m: Annotated[float, Field(ge=0.1, le=10.0)] = Field(
        glazing.HEIGHT_M, description="Height of the pane; default: that of published U-factors"
    )

    @model_validator(mode="after")
    def _one_gap_fewer(self) -> Self:
        """Refuse gaps that do not lie between panes."""
        if len(self.gaps) != len(self.panes) - 1:
            raise ValueError(
                f"{len(self.panes)} panes need {len(self.panes) - 1} gaps, got {len(self.gaps)}"
            )
        return self

    def solve(
        self,
        t_room_c: FloatArray,
        t_out_c: FloatArray,
        film_w_m2_k: FloatArray | float = glazing.DESIGN_FILM_W_M2_K,
        t_sky_c: FloatArray | None = None,
        sky_frac: float = 0.5,
        p_pa: FloatArray | float = air.STANDARD_PRESSURE,
    ) -> glazing.GlassYear:
        """Return what the glazing does; see `glazing.solve`."""
        return glazing.solve(
            [glazing.Pane(**pane.model_dump()) for pane in self.panes],
            [glazing.Gap(**gap.model_dump()) for gap in self.gaps],
            t_room_c=t_room_c,
            t_out_c=t_out_c,
            outside_film_w_m2_k=film_w_m2_k,
            t_sky_c=t_sky_c,
            sky_frac=sky_frac,
            height_m=self.height_m,
            p_pa=p_pa,
        )

    def design_u_factor(self) -> float:
        """Return the U-factor of its centre at -18 °C outdoors and 21 °C in the room."""
        found = self.solve(np.array([21.0]), np.array([-18.0]))
        return float(found.u_factor_w_m2_k[0])


class Closed(Inputs):
    """Hours in which blinds or curtains are closed, by the clock of local standard time."""

    index_change: IndexChange = Field(
        description="Change of the temperature index while they are closed; -0.05 to -0.15 "
        "(engineering default)"
    )
    from_h: ClockHour = Field(22.0, description="From; default: engineering default")
    to_h: ClockHour = Field(7.0, description="To; default: engineering default")


class SurfaceInput(Inputs):
    """A surface that can sweat; one of the first eight keys after the name tells how cold it is."""

    name: str = Field(description="What results call it")
    temperature_index: Fraction | None = Field(
        None, description="(T_surface − T_outdoor)/(T_room − T_outdoor)"
    )
    temperature_index_points: tuple[tuple[float, float], ...] | None = Field(
        None, min_length=1, description="[outdoor °C, temperature index], coldest first"
    )
    u_factor_w_m2_k: Annotated[float, Field(gt=0.0, le=10.0)] | None = Field(
        None, description="U-factor, with the films; the index is 1 − U·inside_m2_k_w"
    )
    glazing: GlazingKind | None = Field(
        None, description="Kind of glazing, whose index is an engineering default"
    )
    frame: FrameKind | None = Field(
        None, description="Kind of frame, whose index is an engineering default"
    )
    layers: Layers | None = Field(
        None, description="Panes and gaps, whose temperature is solved step by step"
    )
    simulated: str | None = Field(
        None,
        description="Inside face reported by the simulation, by its name there; with * as a "
        "wild card, the coldest of several in each step",
    )
    construction: str | None = Field(
        None,
        description="Construction in the simulation: the coldest of its reported inside faces in "
        "each step",
    )
    part: Literal["centre", "edge", "sightline"] | None = Field(
        None,
        description="Of glazing: centre, edge (a band of 63.5 mm) or the bottom sightline, the "
        "coldest; default: sightline of a kind of glazing, else centre",
    )
    spacer: Spacer | None = Field(
        None,
        description="What holds the panes apart at the edge: metal is aluminium or plain steel, "
        "stainless a thin steel, plastic one with a foil of metal; default: metal, the coldest",
    )
    index_change: IndexChange = Field(
        0.0, description="Added to the temperature index: a corner, furniture in front; default: 0"
    )
    closed: Closed | None = Field(
        None, description="Hours of closed blinds or curtains; default: none"
    )
    outside: Literal["design", "weather"] = Field(
        "design",
        description="weather: wind and sky of each step; default: design, the strong wind and grey "
        "sky that indexes and U-factors are told for",
    )
    shelter_frac: Fraction = Field(
        0.5,
        description="Share of the station's wind at the window; default: engineering default, no "
        "source",
    )
    sky_frac: Fraction = Field(
        0.5, description="Part of what it sees that is sky; default: that of a wall"
    )
    inside_m2_k_w: Annotated[float, Field(ge=0.05, le=1.0)] = Field(
        INSIDE_M2_K_W,
        description="Resistance of the room's film; default: ISO 13788 for windows, which takes "
        "0.25 for mould on walls",
    )
    area_m2: Annotated[float, Field(gt=0.0, le=1e5)] | None = Field(
        None,
        description="Area that takes vapour; default: of one simulated face its own if the run "
        "tells it, else watched, takes none",
    )
    convection_w_m2_k: Annotated[float, Field(ge=0.1, le=30.0)] = Field(
        surfaces.CONVECTION_W_M2_K,
        description="Convection at the inside, for mass transfer; default: engineering default, "
        "2 to 3.5 computed at windows",
    )
    retention_g_m2: Annotated[float, Field(ge=1.0, le=1e4)] = Field(
        surfaces.RETENTION_G_M2,
        description="Film that stays before water runs off; default: engineering default between "
        "50 (BS 5250) and 200 (ISO 13788)",
    )
    material: Material | None = Field(
        None,
        description="What mould would grow on: board faced with paper, wood painted or of spruce; "
        "default: glass of glazing, its layers and a part, metal of a metal frame, else not known. "
        "A wooden sash below the glass is wood",
    )
    mould_class: Sensitivity | None = Field(
        None,
        description="How easily mould grows on it, in the place of material; default: resistant "
        "for glass and metal, medium_resistant for concrete, else sensitive; bare pine sapwood is "
        "very_sensitive",
    )

    @field_validator("spacer", mode="before")
    @classmethod
    def _one_of_three(cls, spacer: object) -> object:
        """Refuse a name that stood for two spacers of unlike sightlines."""
        if spacer == "warm":
            raise ValueError(
                f"must be one of {', '.join(glazing.SPACERS)}; 'warm' may be stainless or plastic, "
                "whose sightlines are 0.04 to 0.08 apart"
            )
        return spacer

    @field_validator("temperature_index_points", mode="before")
    @classmethod
    def _convert(cls, points: object) -> object:
        """Accept a temperature written with its unit."""
        return temperature_points(points, "index")

    @field_validator("temperature_index_points")
    @classmethod
    def _in_order(
        cls, points: tuple[tuple[float, float], ...] | None
    ) -> tuple[tuple[float, float], ...] | None:
        """Temperatures rise from point to point; indexes are fractions."""
        require_rising(points or ())
        for t_c, index in points or ():
            if not 0.0 <= index <= 1.0:
                raise ValueError(
                    f"temperature index must be between 0 and 1, got {index:g} at {t_c:g} °C"
                )
        return points

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        """Refuse a surface with two temperatures or none."""
        given = [kind for kind in KINDS if getattr(self, kind) is not None]
        if len(given) != 1:
            got = " and ".join(given) or "none"
            raise ValueError(f"needs exactly one of {', '.join(KINDS)}, got {got}")
        return self

    @model_validator(mode="after")
    def _one_mould_class(self) -> Self:
        """Refuse a material beside the class that would take its place."""
        if self.material is not None and self.mould_class is not None:
            raise ValueError(
                f"mould_class = {self.mould_class} takes the place of material = {self.material}: "
                "leave one out"
            )
        return self

    @model_validator(mode="after")
    def _nothing_unheeded(self) -> Self:
        """Refuse keys that would be ignored."""
        for key, why in self.idle().items():
            if key in self.model_fields_set and getattr(self, key) != "design":
                raise ValueError(why)
        return self

    @model_validator(mode="after")
    def _between_room_and_outdoors(self) -> Self:
        """Refuse changes that would take the index out of its range."""
        if self.kind in (*_OF_RUN, "layers"):
            return self
        indexes = self._index_points()[1]
        if not 0.0 <= min(indexes) <= max(indexes) <= 1.0:
            raise ValueError(f"gives a temperature index of {min(indexes):.2f}, not within 0 to 1")
        changes = [self.index_change]
        if self.closed is not None:
            changes.append(self.index_change + self.closed.index_change)
        if not 0.0 <= min(indexes) + min(changes) <= max(indexes) + max(changes) <= 1.0:
            raise ValueError("index_change and closed take the temperature index out of 0 to 1")
        return self

    @model_validator(mode="after")
    def _edge_of_a_sealed_unit(self) -> Self:
        """Refuse an edge where there is no spacer between panes."""
        if self.of_glass == "centre" or self.glazing is not None:
            return self
        one_pane = self.layers is not None and len(self.layers.panes) == 1
        u = 0.0 if self.u_factor_w_m2_k is None else self.u_factor_w_m2_k
        if one_pane or u > glazing.MOST_EDGE_W_M2_K:
            raise ValueError(
                f"the {self.of_glass} is of sealed units of at most "
                f"{glazing.MOST_EDGE_W_M2_K:g} W/(m2 K): a single pane has none"
            )
        return self

    @property
    def kind(self) -> str:
        """Which of `KINDS` tells its temperature."""
        return next(kind for kind in KINDS if getattr(self, kind) is not None)

    @property
    def _keeps_index(self) -> bool:
        """Whether its temperature index is what it says, in all weather."""
        return self.kind not in (*_OF_RUN, "layers") and self.outside == "design"

    @property
    def of_glass(self) -> Literal["centre", "edge", "sightline"]:
        """Part of the glazing; "centre" where there are no parts."""
        return self.part or ("sightline" if self.kind == "glazing" else "centre")

    def idle(self) -> dict[str, str]:
        """Return the keys that it does not use, and why."""
        keys: dict[str, str] = {}
        if self.kind not in _WITH_PARTS:
            why = f"part and spacer are of {', '.join(_WITH_PARTS)}, not of {self.kind}"
            keys |= {"part": why, "spacer": why}
        elif self.of_glass == "centre":
            keys["spacer"] = "spacer acts at the edge and the sightline, not at the centre"
        if self.outside == "design":
            keys |= {
                key: f'{key} needs outside = "weather"' for key in ("shelter_frac", "sky_frac")
            }
        if self.kind in _OF_RUN:
            why = "outside and films are simulated already: leave them out"
            keys |= dict.fromkeys(("outside", "shelter_frac", "sky_frac", "inside_m2_k_w"), why)
        if self.kind == "layers":
            keys["inside_m2_k_w"] = "the film of layers is solved: leave inside_m2_k_w out"
        if self.outside == "design" and self.kind not in ("u_factor_w_m2_k", "frame", *_OF_RUN):
            why = 'inside_m2_k_w acts on a U-factor or with outside = "weather"'
            keys.setdefault("inside_m2_k_w", why)
        return keys

    def year(self, case: HourlyCase, where: str) -> SurfaceYear:
        """Return the surface in a case.

        Parameters
        ----------
        case : HourlyCase
        where : str
            Its key in the scenario, for errors.

        Raises
        ------
        InputError
            If the simulation does not report it, or the case lacks wind or sky that it needs.
        """
        t_c, face = self._unchanged(case, where)
        t_c = t_c + self._change(t_c, case, where) * (case.t_air_c - case.t_out_c)
        area_m2 = self.area_m2
        if area_m2 is None and face is not None:
            area_m2 = face.area_m2
        sensitivity = self._told_class()
        if sensitivity is None:
            sensitivity = "sensitive" if face is None else face.sensitivity
        found = SurfaceYear(
            name=self.name,
            t_surface_c=t_c,
            area_m2=area_m2,
            w_offset_kg_kg=None if face is None else face.w_offset_kg_kg,
            retention_g_m2=self.retention_g_m2,
            sensitivity=sensitivity,
        )
        return found.with_mass_transfer(
            surfaces.wet_mass_transfer(
                surfaces.mass_transfer(convection_w_m2_k=self.convection_w_m2_k),
                t_c,
                case.p_pa,
                resistance_m2_k_w=_typical_index(t_c, case) * self.inside_m2_k_w,
                p_sat_pa=found.p_sat_pa,
            )
        )

    def change_room(self, case: HourlyCase, where: str) -> tuple[float, float]:
        """Return the least and the most that `index_change` may be in a case; see `year`."""
        typical = _typical_index(self._unchanged(case, where)[0], case)
        told = () if self.kind in (*_OF_RUN, "layers") else self._index_points()[1]
        closed = 0.0 if self.closed is None else self.closed.index_change
        low = -min((typical, *told)) - min(closed, 0.0)
        high = 1.0 - max((typical, *told)) - max(closed, 0.0)
        return min(low, self.index_change), max(high, self.index_change)

    def _unchanged(self, case: HourlyCase, where: str) -> tuple[FloatArray, SurfaceYear | None]:
        """Return the temperature before any change of the index, and the simulated face."""
        if self.kind in _OF_RUN:
            face = _coldest(self._faces(case, where), case)
            return face.t_surface_c, face
        if self.layers is not None:
            return self._glass(self.layers, case, where), None
        return self._by_index(case, where), None

    def _change(self, t_surface_c: FloatArray, case: HourlyCase, where: str) -> FloatArray:
        """Return by how much the temperature index is changed in each step."""
        change = np.full(case.n_steps, self.index_change)
        if self.closed is not None:
            closed = series.within(
                case.interval_start, from_h=self.closed.from_h, to_h=self.closed.to_h
            )
            change = change + np.where(closed, self.closed.index_change, 0.0)
        if self._keeps_index or not change.any():
            return change  # `_between_room_and_outdoors` saw to it
        index = _typical_index(t_surface_c, case)
        if not 0.0 <= index + change.min() <= index + change.max() <= 1.0:
            raise InputError(
                f"index_change and closed take the temperature index of {index:.2f} out of 0 to 1",
                where=where,
            )
        return change

    def note(self) -> str | None:
        """Return what of it is a default that a measurement or a word would beat."""
        if self.glazing is not None:
            part = self.of_glass
            edge = "" if part == "centre" else f" with a {self.spacer or 'metal'} spacer"
            kind = self.glazing.replace("_", " ")
            index = self._index_points()[1][0]
            return (
                f"surface {self.name}: {kind}, {part}{edge}, temperature index {index:g} "
                "(engineering default; a test or a two-dimensional calculation is better)"
            )
        if self.frame is not None:
            kind, found = self.frame.replace("_", " "), glazing.FRAMES[self.frame]
            return (
                f"surface {self.name}: {kind} frame, {found.u_factor_w_m2_k:g} W/(m2 K), "
                f"temperature index {found.index:g} at its coldest "
                "(engineering default; a test or a two-dimensional calculation is better)"
            )
        by_run = self.kind in _OF_RUN
        if not by_run and self._told_class() is None and _LIKE_GLASS.search(self.name):
            return (
                f"surface {self.name}: it is named like glass, but its material is not told: mould "
                'is judged as on paint, paper and wood; say material = "glass" if it is that, or '
                "what it is"
            )
        return None

    def _told_class(self) -> Sensitivity | None:
        """Return how easily mould grows on what it is told to be; None if that is not told."""
        if self.mould_class is not None:
            return self.mould_class
        material = self.material
        if material is None and (self.part or self.glazing or self.layers) is not None:
            material = "glass"
        if material is None and self.frame in ("metal", "metal_thermal_break"):
            material = "metal"
        return None if material is None else CLASS_OF[material]

    def _index_points(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Return outdoor temperatures and the temperature index there, before any change."""
        if self.temperature_index_points is not None:
            t_c, index = zip(*self.temperature_index_points, strict=True)
            return t_c, index
        if self.glazing is not None:
            kind = glazing.GLAZING[self.glazing]
            part = self.of_glass
            if part == "centre":
                return (0.0,), (kind.centre,)
            return (0.0,), (kind.part(part, self.spacer or "metal"),)
        if self.temperature_index is not None:
            return (0.0,), (self.temperature_index,)
        if self.frame is not None:
            frame = glazing.FRAMES[self.frame]
            film = self.inside_m2_k_w - INSIDE_M2_K_W
            return (0.0,), (frame.index - frame.u_factor_w_m2_k * film,)
        u = self.u_factor_w_m2_k
        assert u is not None  # noqa: S101 - `_one_kind` saw to it
        return (0.0,), (1.0 - u * self.inside_m2_k_w + self._part_drop(u),)

    def _part_drop(self, u_factor_w_m2_k: float, panes: int | None = None) -> float:
        """Return by how much the edge's or sightline's index differs from the centre's."""
        part = self.of_glass
        if part == "centre":
            return 0.0
        centre = 1.0 - INSIDE_M2_K_W * u_factor_w_m2_k
        index = glazing.part_index(
            u_factor_w_m2_k, part=part, spacer=self.spacer or "metal", panes=panes
        )
        return index - centre

    def _by_index(self, case: HourlyCase, where: str) -> FloatArray:
        index = np.interp(case.t_out_c, *self._index_points())
        if self.outside == "design":
            return surfaces.surface_temperature(case.t_air_c, case.t_out_c, temperature_index=index)
        film, t_sky_c = self._exposure(case, where)
        return surfaces.exposed_surface_temperature(
            case.t_air_c,
            case.t_out_c,
            temperature_index=index,
            convection_w_m2_k=film,
            t_sky_c=t_sky_c,
            sky_frac=self.sky_frac,
            inside_m2_k_w=self.inside_m2_k_w,
        )

    def _glass(self, layers: Layers, case: HourlyCase, where: str) -> FloatArray:
        film: FloatArray | float = glazing.DESIGN_FILM_W_M2_K
        t_sky_c: FloatArray | None = None
        if self.outside == "weather":
            film, t_sky_c = self._exposure(case, where)
        found = layers.solve(
            case.t_air_c, case.t_out_c, film, t_sky_c, self.sky_frac, p_pa=case.p_pa
        )
        drop = 0.0
        if self.of_glass != "centre":
            drop = self._part_drop(layers.design_u_factor(), len(layers.panes))
        return found.t_inside_c + drop * (case.t_air_c - case.t_out_c)

    def _exposure(self, case: HourlyCase, where: str) -> tuple[FloatArray, FloatArray]:
        """Return convection at the outside and sky temperature, step by step."""
        if case.wind_m_s is None or case.t_sky_c is None:
            raise InputError(
                "needs wind and sky, which the space does not tell",
                where=f"{where}.outside",
                hint="a run reports them as Site Wind Speed and Site Sky Temperature, a table as "
                'wind_m_s and t_sky_c; outside = "design" needs neither',
            )
        film = glazing.outside_convection(case.wind_m_s, shelter_frac=self.shelter_frac)
        return film, case.t_sky_c

    def _faces(self, case: HourlyCase, where: str) -> list[SurfaceYear]:
        """Return the simulated faces that are meant."""
        reported = case.simulated_surfaces
        wanted = self.simulated if self.simulated is not None else self.construction
        assert wanted is not None  # noqa: S101 - `_one_kind` saw to it
        folded = wanted.casefold()
        if self.simulated is not None:
            known = {name.casefold(): name for name in reported}
            found = [reported[known[folded]]] if folded in known else []
            if not found and "*" in wanted:
                # Only * is a wild card: names may hold brackets.
                pattern = folded.replace("[", "[[]").replace("?", "[?]")
                found = [reported[k] for f, k in known.items() if fnmatchcase(f, pattern)]
            what, words = "inside face", "reported"
        else:
            known = {
                f.construction.casefold(): f.construction
                for f in reported.values()
                if f.construction
            }
            found = [f for f in reported.values() if f.construction.casefold() == folded]
            what, words = "reported inside face's construction", "constructions"
        if not found:
            near = get_close_matches(folded, known, n=1)
            guess = f"did you mean {known[near[0]]!r}? " if near else ""
            names = ", ".join(repr(name) for name in known.values()) or "none"
            raise InputError(
                f"no {what} is called {wanted!r}",
                where=f"{where}.{self.kind}",
                hint=f"{guess}{words}: {names}",
            )
        return found


def _coldest(faces: list[SurfaceYear], case: HourlyCase) -> SurfaceYear:
    """Return, step by step, the face that sweats first; one that is alone as it is."""
    if len(faces) == 1:
        return faces[0]
    t_c = np.array([face.t_surface_c for face in faces])
    nothing = np.zeros(case.n_steps)
    offset = np.array(
        [nothing if face.w_offset_kg_kg is None else face.w_offset_kg_kg for face in faces]
    )
    first = np.argmin(air.saturated_humidity_ratio(t_c, case.p_pa) - offset, axis=0)[None]
    resistant = all(face.sensitivity == "resistant" for face in faces)
    return SurfaceYear(
        name="coldest",
        t_surface_c=np.take_along_axis(t_c, first, axis=0)[0],
        w_offset_kg_kg=np.take_along_axis(offset, first, axis=0)[0] if offset.any() else None,
        sensitivity="resistant" if resistant else "sensitive",
    )


def _typical_index(t_surface_c: FloatArray, case: HourlyCase) -> float:
    """Return the median temperature index of cold steps, 0 to 1; 0 without any."""
    difference = case.t_air_c - case.t_out_c
    cold = difference > COLD_K
    if not cold.any():
        return 0.0
    index = float(np.median((t_surface_c - case.t_out_c)[cold] / difference[cold]))
    return min(max(index, 0.0), 1.0)
