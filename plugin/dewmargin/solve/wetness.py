"""Wetness of surfaces through a year: dew margins, films, run-off, frost and mould."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.physics import air, mould, surfaces
from dewmargin.physics.surfaces import VISIBLE_G_M2, WET_G_M2
from dewmargin.solve.hours import EDGE_SLACK, month_means

if TYPE_CHECKING:
    from collections.abc import Mapping

    from dewmargin.case import HourlyCase
    from dewmargin.columns import BoolArray, FloatArray, IntArray
    from dewmargin.solve.balance import Outcome
    from dewmargin.solve.hours import YearHours

LEAST_DIFFERENCE_K = 5.0  # of a month, below which a temperature index says nothing
N_WORST = 10  # days whose worst hour is listed

ANY_COLUMNS = (
    "condensation_h",
    "wet_h",
    "runoff_h",
    "frost_h",
    "worst_margin_k",
    "mould_index_max",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SurfaceHours:
    """Every surface, hour by hour; arrays have the shape (n_surfaces, n_hours).

    Attributes
    ----------
    margin_k : float64 array
        Surface temperature less the dew (frost) point of the hour-mean air. [K]
    condensing, frost : bool array
        Hours in which that air exceeds the surface's saturation, and of these those below 0 °C.
    film_g_m2, runoff_g_m2 : float64 array
        Film at the hour's end, and water that ran off. [g/m2]
    p_vapour_pa : float64 array
        Vapour pressure of the air in front of it. [Pa]
    rh_frac : float64 array
        Relative humidity at the surface, 1 while there is a film. [-]
    mould_index : float64 array
        At the hour's end.
    """

    margin_k: FloatArray
    condensing: BoolArray
    frost: BoolArray
    film_g_m2: FloatArray
    runoff_g_m2: FloatArray
    p_vapour_pa: FloatArray
    rh_frac: FloatArray
    mould_index: FloatArray

    @property
    def wet(self) -> BoolArray:
        """Hours at whose end there is a film."""
        result: BoolArray = self.film_g_m2 >= WET_G_M2
        return result

    @property
    def runs_off(self) -> BoolArray:
        """Hours in which water runs off."""
        result: BoolArray = self.runoff_g_m2 > 0.0
        return result


def surface_hours(case: HourlyCase, hours: YearHours, outcome: Outcome) -> SurfaceHours:
    """Follow every surface of a case through an outcome."""
    w = np.maximum(outcome.w_kg_kg + hours.w_offset_kg_kg, 0.0)
    condensing = condenses(hours, outcome.w_kg_kg)
    film_g_m2 = 1e3 * outcome.film_kg_m2
    rh = surfaces.surface_humidity(hours.t_surface_c, w, hours.p_pa)
    rh = np.where(film_g_m2 >= WET_G_M2, 1.0, rh)
    grown = [
        mould.mould_index(t_c, rh_i, sensitivity=face.sensitivity, wraps=case.wraps)
        for face, t_c, rh_i in zip(case.surfaces, hours.t_surface_c, rh, strict=True)
    ]
    return SurfaceHours(
        margin_k=surfaces.dew_margin(hours.t_surface_c, w, hours.p_pa),
        condensing=condensing,
        frost=condensing & (hours.t_surface_c < 0.0),
        film_g_m2=film_g_m2,
        runoff_g_m2=1e3 * outcome.runoff_kg_m2,
        p_vapour_pa=air.vapour_pressure(w, hours.p_pa),
        rh_frac=rh,
        mould_index=np.array(grown).reshape(rh.shape),
    )


def condenses(hours: YearHours, w_kg_kg: FloatArray) -> BoolArray:
    """Hours in which the mean humidity exceeds a surface's saturation, (n_surfaces, n_hours)."""
    w_at_surface = (w_kg_kg + hours.w_offset_kg_kg) * (1.0 - EDGE_SLACK)
    return surfaces.condenses(hours.t_surface_c, w_at_surface, hours.p_pa)


def year_of_any(faces: SurfaceHours) -> dict[str, float | None]:
    """Return the year's numbers of all surfaces together, by column; None without surfaces."""
    if not len(faces.margin_k):
        return dict.fromkeys(ANY_COLUMNS)
    return {
        "condensation_h": _hours_of_any(faces.condensing),
        "wet_h": _hours_of_any(faces.wet),
        "runoff_h": _hours_of_any(faces.runs_off),
        "frost_h": _hours_of_any(faces.frost),
        "worst_margin_k": float(faces.margin_k.min()),
        "mould_index_max": float(faces.mould_index.max()),
    }


def _hours_of_any(happens: BoolArray) -> float:
    return float(np.count_nonzero(happens.any(axis=0)))


def surface_year(
    case: HourlyCase, hours: YearHours, outcome: Outcome, faces: SurfaceHours, i: int
) -> Mapping[str, float | None]:
    """Return the year's numbers of surface i, by column; see `dewmargin.columns.SURFACES`."""
    surface, t_c = case.surfaces[i], hours.t_surface_c[i]
    film, runoff = faces.film_g_m2[i], faces.runoff_g_m2[i]
    month_rh, least_index = _by_month(hours, t_c, faces.p_vapour_pa[i])
    return {
        "condensation_h": float(np.count_nonzero(faces.condensing[i])),
        "wet_h": float(np.count_nonzero(faces.wet[i])),
        "visible_h": float(np.count_nonzero(film >= VISIBLE_G_M2)),
        "runoff_h": float(np.count_nonzero(faces.runs_off[i])),
        "frost_h": float(np.count_nonzero(faces.frost[i])),
        "longest_wet_h": float(longest_run(faces.wet[i], wraps=case.wraps)),
        "below_dew_point_k_h": float(np.maximum(-faces.margin_k[i], 0.0).sum()),
        "worst_margin_k": float(faces.margin_k[i].min()),
        "condensed_g_m2": 1e3 * float(np.maximum(outcome.taken_kg_m2[i], 0.0).sum()),
        "runoff_g_m2": float(runoff.sum()),
        "film_max_g_m2": float(film.max()),
        "condensed_kg": None if surface.area_m2 is None else float(outcome.condensed_kg[i].sum()),
        "runoff_kg": None
        if surface.area_m2 is None
        else 1e-3 * surface.area_m2 * float(runoff.sum()),
        "t_surface_min_c": float(t_c.min()),
        "rh_month_max_frac": month_rh,
        "rh_30_days_max_frac": mould.thirty_day_maximum(t_c, faces.rh_frac[i], wraps=case.wraps),
        "least_index_frac": least_index,
        "mould_index_max": float(faces.mould_index[i].max()),
    }


def _by_month(
    hours: YearHours, t_surface_c: FloatArray, p_vapour_pa: FloatArray
) -> tuple[float | None, float | None]:
    """Return the largest monthly humidity at a surface, and the least index of a cold month.

    ISO 13788 takes monthly means of temperatures and vapour pressure, not of relative humidity.
    """
    t_in, t_out, p, t_face = month_means(
        hours, hours.t_air_c, hours.t_out_c, p_vapour_pa, t_surface_c
    )
    rh = np.minimum(p / air.saturation_pressure(t_face), 1.0)
    cold = t_in - t_out >= LEAST_DIFFERENCE_K
    least = surfaces.minimum_index(t_in[cold], t_out[cold], p[cold], rh_limit=mould.RH_LIMIT)
    return (
        float(rh.max()) if rh.size else None,
        float(least.max()) if cold.any() else None,
    )


def longest_run(happens: BoolArray, *, wraps: bool) -> int:
    """Return the length of the longest unbroken run; one over the year's end counts whole."""
    if happens.all():
        return int(happens.size)
    padded = np.concatenate([[False], happens, happens if wraps else [], [False]]).astype(np.int8)
    edges = np.flatnonzero(np.diff(padded))
    lengths = edges[1::2] - edges[::2]
    return int(lengths.max(initial=0))


def worst_hours(hours: YearHours, margin_k: FloatArray) -> IntArray:
    """Return the worst hour of each of the ten worst days of a surface, the worst first."""
    day = hours.interval_start.astype("datetime64[D]")
    order = np.argsort(margin_k, kind="stable")
    _, first = np.unique(day[order], return_index=True)
    result: IntArray = order[np.sort(first)[:N_WORST]]
    return result
