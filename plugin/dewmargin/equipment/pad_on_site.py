"""What is measured on a wetted pad that runs: its feed, its drain, and the air that it cools."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.contracts import DRAIN_K, FEED_FRAC, FEED_K, Reading
from dewmargin.equipment.humidifier import Inlet

if TYPE_CHECKING:
    from collections.abc import Iterator

    from dewmargin.columns import FloatArray
    from dewmargin.contracts import Words, Work

# Tolerances beside those of feed and drain; common practice, no source.
_EVAPORATION_FRAC, _OUT_K = 0.2, 1.5
_DRAINS_FRAC = 1e-3  # of the feed: less that drains cannot be caught


@dataclass(frozen=True, slots=True, kw_only=True)
class AtWork:
    """One pad that runs: what can be measured there; arrays of one shape.

    Attributes
    ----------
    airflow_kg_s : float64 array
        Dry air through the pad. [kg/s]
    t_in_c, t_out_c, t_wet_bulb_c : float64 array
        Air before and behind it, wet bulb of the former. [°C]
    feed_kg_s, evaporation_kg_s, drain_kg_s : float64 array
        Water. [kg/s]
    t_drain_c : float64 array
        Drain; the wet bulb where nothing drains. [°C]
    """

    airflow_kg_s: FloatArray
    t_in_c: FloatArray
    t_out_c: FloatArray
    t_wet_bulb_c: FloatArray
    feed_kg_s: FloatArray
    evaporation_kg_s: FloatArray
    drain_kg_s: FloatArray
    t_drain_c: FloatArray


def readings(at_work: AtWork, work: Work, words: Words, *, in_ducts: bool) -> Iterator[Reading]:
    """Yield what to measure on a pad that runs so, in these conditions."""
    work = replace(
        work,
        feed_kg_h=3600.0 * float(at_work.feed_kg_s.item()),
        evaporation_kg_h=3600.0 * float(at_work.evaporation_kg_s.item()),
    )
    yield from _of_water(work, at_work, words, in_ducts=in_ducts)
    yield _cooled(work, at_work, words)


def inlet_of(work: Work) -> Inlet:
    """Return what a unit takes in under these conditions."""
    return Inlet(
        t_c=np.array([work.t_in_c]),
        p_pa=np.array([work.p_pa]),
        w_kg_kg=np.array([[work.w_kg_kg]]),
        t_room_c=np.array([work.t_room_c]),
        t_feed_c=np.array([work.t_feed_c]),
        quality=work.quality,
        airflow_kg_s=np.full(1, work.airflow_kg_s),
        blower_frac=work.blower_frac,
    )


def _of_water(work: Work, at_work: AtWork, words: Words, *, in_ducts: bool) -> Iterator[Reading]:
    at_drain = "" if not in_ducts else ", or at the drain with the blower off"
    yield _catch(
        "feed_kg_h",
        "feed of a unit",
        f"timed catch at the nozzle{at_drain}",
        work.feed_kg_h,
        FEED_FRAC * work.feed_kg_h,
        words,
    )
    steady = "once it no longer changes"
    if work.purge_s is not None:
        steady = f"after {2.0 * work.purge_s:.0f} s, two fillings of the line"
    yield _degrees(
        "t_feed_c", "feed at the nozzle", f"probe, {steady}", work.t_feed_c, FEED_K, words
    )
    drain_kg_h = work.feed_kg_h - work.evaporation_kg_h
    if drain_kg_h > _DRAINS_FRAC * work.feed_kg_h:
        yield _catch(
            "drain_kg_h",
            "drain of a unit",
            "timed catch after 15 min wet; off by what the feed is off too",
            drain_kg_h,
            _EVAPORATION_FRAC * work.evaporation_kg_h,
            words,
        )
        yield _degrees(
            "t_drain_c",
            "drain",
            "probe in the stream; warmer: the feed runs past the pad",
            float(at_work.t_drain_c.item()),
            DRAIN_K,
            words,
        )


def _cooled(work: Work, at_work: AtWork, words: Words) -> Reading:
    t_in, t_out = float(at_work.t_in_c.item()), float(at_work.t_out_c.item())
    return Reading(
        key="cooled_k",
        what="air across the pad",
        how="two probes, shielded from radiation and drops"
        + (", in a call for heat" if work.heated else ""),
        value=t_in - t_out,
        off=_OUT_K,
        text=f"{words.between(t_in, t_out)}, {words.apart(t_in - t_out, '.0f')} cooler",
        tolerance=f"±{words.apart(_OUT_K)}",
    )


def _catch(key: str, what: str, how: str, kg_h: float, off: float, words: Words) -> Reading:
    """Return a flow of water, to be caught and timed."""
    return Reading(
        key=key,
        what=what,
        how=how,
        value=kg_h,
        off=off,
        text=words.catch(kg_h),
        tolerance=f"±{100.0 * off / kg_h:.0f} %",
    )


def _degrees(key: str, what: str, how: str, t_c: float, off_k: float, words: Words) -> Reading:
    return Reading(
        key=key,
        what=what,
        how=how,
        value=t_c,
        off=off_k,
        text=words.both(t_c),
        tolerance=f"±{words.apart(off_k)}",
    )
