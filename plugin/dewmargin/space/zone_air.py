"""Zone air: what a run reports of it, and what that makes of the space's exchange."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dewmargin.energyplus.output_file import Picker, Quantity, ReportedZone, Run, Series, Values
from dewmargin.space.neighbours import Paths, effectiveness

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

_VAPOUR_J_KG = 2_538_119.0  # of room air at 20 °C; 10 K more or less are 0.7 %
_COLD_C = 15.0  # of outdoor air, as the heating season's usual limit

W_ZONE = Quantity(
    {
        "Zone Mean Air Humidity Ratio": "kgWater/kgDryAir",
        "Zone Air Humidity Ratio": "kgWater/kgDryAir",
    }
)
_INFILTRATION = Quantity(
    {"Zone Infiltration Mass Flow Rate": "kg/s", "Zone Infiltration Mass": "kg"}
)
_VENTILATION = Quantity({"Zone Ventilation Mass Flow Rate": "kg/s", "Zone Ventilation Mass": "kg"})
MECHANICAL = Quantity(
    {
        "Zone Mechanical Ventilation Mass Flow Rate": "kg/s",
        "Zone Mechanical Ventilation Mass": "kg",
    }
)
# Infiltration and ventilation together, of zones that combine them in quadrature.
_COMBINED = Quantity(
    {"Zone Combined Outdoor Air Mass Flow Rate": "kg/s", "Zone Combined Outdoor Air Mass": "kg"}
)
_AFN_INFILTRATION = Quantity({"AFN Zone Infiltration Mass": "kg"})
_AFN_VENTILATION = Quantity({"AFN Zone Ventilation Mass": "kg"})
_ZONE_MIXING = Quantity({"Zone Mixing Mass Flow Rate": "kg/s", "Zone Mixing Mass": "kg"})
_AFN_MIXING = Quantity({"AFN Zone Mixing Mass": "kg"})
_IDEAL_RECOVERED = Quantity(
    {
        "Zone Ideal Loads Heat Recovery Latent Heating Rate": "W",
        "Zone Ideal Loads Heat Recovery Latent Heating Energy": "J",
    },
    of_unit=True,
)
_IDEAL_KEPT_OUT = Quantity(
    {
        "Zone Ideal Loads Heat Recovery Latent Cooling Rate": "W",
        "Zone Ideal Loads Heat Recovery Latent Cooling Energy": "J",
    },
    of_unit=True,
)
_IDEAL_RECOVERING = Quantity({"Zone Ideal Loads Heat Recovery Active Time": "hr"}, of_unit=True)
_EXCHANGER_RECOVERED = Quantity(
    {"Heat Exchanger Latent Gain Rate": "W", "Heat Exchanger Latent Gain Energy": "J"}
)
_EXCHANGER_KEPT_OUT = Quantity(
    {"Heat Exchanger Latent Cooling Rate": "W", "Heat Exchanger Latent Cooling Energy": "J"}
)
_EXCHANGER_DEFROSTING = Quantity({"Heat Exchanger Defrost Time Fraction": ""})
ZONE_FLOWS = (_INFILTRATION, _VENTILATION, MECHANICAL)
_AFN_FLOWS = (_AFN_INFILTRATION, _AFN_VENTILATION)
FLOWS = (*ZONE_FLOWS, _COMBINED, *_AFN_FLOWS)
_SEPARATE = (_INFILTRATION, _VENTILATION)
_MIXING = (_ZONE_MIXING, _AFN_MIXING)
# The run's lists of mixing objects, and whether their air moves both ways.
_MIXING_LISTS = {"Mixing Airflow Stats Nominal": False, "CrossMixing Airflow Stats Nominal": True}
# The run's lists of what the model asks for, and where its flow is reported.
_IN_THE_MODEL = {
    "ZoneInfiltration Airflow Stats Nominal": _INFILTRATION,
    "ZoneVentilation Airflow Stats Nominal": _VENTILATION,
    "Mixing Airflow Stats Nominal": _ZONE_MIXING,
    "CrossMixing Airflow Stats Nominal": _ZONE_MIXING,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceAir:
    """Air and water that the space exchanges.

    Attributes
    ----------
    exchange_kg_s : float64 array, shape (n_steps,)
        Dry air exchanged with outdoors, after latent recovery, and with the zones held alike, and
        what the other zones beside the space add to it. [kg/s]
    brought_kg_s : float64 array, shape (n_steps,)
        Water that zones of other humidity bring beyond what `exchange_kg_s` does at the space's
        mean humidity: zero for a single zone. [kg/s]
    mechanical_kg_s : float64 array, shape (n_chosen, n_steps)
        Outdoor air through the system, of each zone of the space. [kg/s]
    loss_kg_s, flow_kg_s : float64 array
        As `Paths.couplings_kg_s`; the space is the first node. [kg/s]
    notes : list of str
        What was assumed.
    """

    exchange_kg_s: FloatArray
    brought_kg_s: FloatArray
    mechanical_kg_s: FloatArray
    loss_kg_s: FloatArray
    flow_kg_s: FloatArray
    notes: list[str]


def units_of(pick: Picker, quantity: Quantity, zones: list[ReportedZone]) -> list[Series]:
    """Choose the series of the ideal-loads units that serve these zones."""
    if len(zones) == len(pick.run.zones):
        return pick.every(quantity)
    by_zone = _units_by_zone(pick, quantity)
    return [unit for zone in zones for unit in by_zone.get(zone.name.casefold(), [])]


def _units_by_zone(pick: Picker, quantity: Quantity) -> dict[str, list[Series]]:
    """Choose the series of all ideal-loads units, by the zone that each serves.

    Which zone a unit serves is not in the file: of several zones, a unit belongs to the one whose
    name its own begins with.
    """
    names = sorted((zone.name.casefold() for zone in pick.run.zones), key=len, reverse=True)
    found: dict[str, list[Series]] = {}
    for unit in pick.every(quantity):
        key = unit.key.casefold()
        own = names[:1] if len(names) == 1 else [n for n in names if key.startswith(n)][:1]
        for name in own:
            found.setdefault(name, []).append(unit)
    return found


@dataclass(frozen=True, slots=True)
class _Recovery:
    """Series that tell how a heat recovery handles moisture.

    `active` is the time in which it works, of which there may be several units; `idle` the part of
    the step it spends defrosting.
    """

    times: float = 1.0  # zones that the series count together
    gained: tuple[Series, ...] = ()
    kept_out: tuple[Series, ...] = ()
    active: tuple[Series, ...] = ()
    idle: tuple[Series, ...] = ()

    @classmethod
    def by_zone(cls, pick: Picker, zones: list[ReportedZone]) -> list[_Recovery]:
        """Choose those of the ideal-loads unit of each zone."""
        units = [
            _units_by_zone(pick, q) for q in (_IDEAL_RECOVERED, _IDEAL_KEPT_OUT, _IDEAL_RECOVERING)
        ]
        return [
            cls(zone.multiplier, *(tuple(each.get(zone.name.casefold(), ())) for each in units))
            for zone in zones
        ]

    @classmethod
    def of_loop(cls, pick: Picker) -> _Recovery:
        """Choose those of all heat exchangers of the building."""
        gained, kept_out, idle = (
            tuple(pick.every(q))
            for q in (_EXCHANGER_RECOVERED, _EXCHANGER_KEPT_OUT, _EXCHANGER_DEFROSTING)
        )
        return cls(1.0, gained, kept_out, (), idle)

    @property
    def told(self) -> bool:
        """Whether the run tells the moisture handed back."""
        return bool(self.gained)

    def works(self, values: Values) -> bool:
        """Whether it hands back any moisture."""
        return any(np.any(values[series]) for series in (*self.gained, *self.kept_out))

    def share(
        self, values: Values, offered_kg_s: FloatArray, effectiveness_given: float | None
    ) -> FloatArray:
        """Return the share of the ventilation's moisture that is handed back, step by step."""
        recovered_w = values.total(
            [(1.0, series) for series in self.gained] + [(-1.0, s) for s in self.kept_out]
        )
        active = np.ones(values.n_steps)
        if self.active:
            # Hours within the step; our series are rates per second.
            hours = np.max([values[series] for series in self.active], axis=0)
            active = np.minimum(3600.0 * hours, 1.0)
        elif self.gained:
            active = (recovered_w != 0.0).astype(np.float64)
        for series in self.idle:
            active = active * (1.0 - np.clip(values[series], 0.0, 1.0))
        if effectiveness_given is not None:
            return effectiveness_given * (active if active.any() else np.ones(values.n_steps))
        if not self.told:
            return np.zeros(values.n_steps)
        recovered = recovered_w / (self.times * _VAPOUR_J_KG)
        return effectiveness(recovered, offered_kg_s, active)


@dataclass(frozen=True, slots=True)
class _ZoneAir:
    """Series of a zone's humidity and air flows."""

    zone: ReportedZone
    w: Series | None
    flows: dict[Quantity, Series | None]
    recovery: _Recovery

    @classmethod
    def of(cls, pick: Picker, zone: ReportedZone, recovery: _Recovery) -> _ZoneAir:
        """Choose them."""
        flows = {q: pick.maybe(q, zone.name) for q in (*FLOWS, *_MIXING)}
        return cls(zone, pick.maybe(W_ZONE, zone.name), flows, recovery)

    def flow(self, values: Values, *quantities: Quantity) -> FloatArray:
        """Return the sum of these flows, of one zone where the building has several alike. [kg/s].

        The engine reports the outdoor air of the system for all of them, all other air for one
        (seen in runs with multiplier 3).
        """
        own = 1.0 / self.zone.multiplier
        return values.total((own if q is MECHANICAL else 1.0, self.flows[q]) for q in quantities)

    def outdoor(self, values: Values) -> FloatArray:
        """Return the air exchanged with outdoors, before recovery. [kg/s]."""
        twice = _SEPARATE if self.flows[_COMBINED] is not None else ()
        return self.flow(values, *(q for q in FLOWS if q not in twice))

    def mixed(self, values: Values) -> FloatArray:
        """Return the air received from other zones. [kg/s]."""
        return self.flow(values, *_MIXING)


def _shares(run: Run, zones: list[ReportedZone]) -> FloatArray:
    """Return which part of the air a zone receives comes from which other zone.

    The run's list of mixing objects tells, as design flows; without it all others give alike.
    """
    place = {zone.name.casefold(): i for i, zone in enumerate(zones)}
    design = np.zeros((len(zones), len(zones)))
    for title, both_ways in _MIXING_LISTS.items():
        columns = [
            [value for _, value in run.tables.get((title, column), [])]
            for column in ("Zone Name", "From/Source Zone", "Design Volume Flow Rate")
        ]
        for to, source, flow in zip(*columns, strict=False):
            i, j = place.get(to.casefold()), place.get(source.casefold())
            if i is not None and j is not None:
                design[i, j] += float(flow)
                design[j, i] += float(flow) * both_ways
    alike = 1.0 - np.eye(len(zones))
    design = np.where(design.sum(axis=1, keepdims=True) > 0.0, design, alike)
    total = design.sum(axis=1, keepdims=True)
    result: FloatArray = np.divide(design, total, out=np.zeros_like(design), where=total > 0.0)
    return result


@dataclass(frozen=True, slots=True)
class AirSeries:
    """Series of the air of the space's zones, and of those beside it; the space's come first.

    Those of `n_alike` zones held alike follow them.
    """

    run: Run
    n_chosen: int
    n_alike: int
    zones: list[_ZoneAir]
    exchangers: _Recovery

    @classmethod
    def of(cls, pick: Picker, chosen: list[ReportedZone], alike: list[ReportedZone]) -> AirSeries:
        """Choose them. Zones beside the space matter where it takes air from them."""
        mixes = any(pick.has(q, zone.name) for q in _MIXING for zone in chosen)
        beside = [zone for zone in pick.run.zones if mixes and zone not in (*chosen, *alike)]
        zones = [*chosen, *alike, *beside]
        whole = len(chosen) == len(pick.run.zones)
        return cls(
            run=pick.run,
            n_chosen=len(chosen),
            n_alike=len(alike),
            zones=[
                _ZoneAir.of(pick, zone, recovery)
                for zone, recovery in zip(zones, _Recovery.by_zone(pick, zones), strict=True)
            ],
            # Which zones a heat exchanger serves is not told: it counts if all of them are meant.
            exchangers=_Recovery.of_loop(pick) if whole else _Recovery(),
        )

    def read(
        self,
        values: Values,
        *,
        t_out_c: FloatArray,
        w_kg_kg: FloatArray,
        w_out_kg_kg: FloatArray,
        latent_effectiveness: float | None,
    ) -> SpaceAir:
        """Return what the space exchanges.

        Parameters
        ----------
        values : Values
            What the run reports.
        t_out_c : float64 array, shape (n_steps,)
            Outdoor temperature. [°C]
        w_kg_kg, w_out_kg_kg : float64 array, shape (n_steps,)
            Humidity ratio of the space and outdoors. [kg/kg]
        latent_effectiveness : float or None
            Of the heat recovery; None: as the run tells. [-]
        """
        w = np.array([w_kg_kg if one.w is None else values[one.w] for one in self.zones])
        mechanical = np.array([one.flow(values, MECHANICAL) for one in self.zones])
        times = np.array([one.zone.multiplier for one in self.zones])
        offered = mechanical * (w - w_out_kg_kg)
        recovered = np.array(
            [
                one.recovery.share(values, lost, latent_effectiveness)
                for one, lost in zip(self.zones, offered, strict=True)
            ]
        )
        if self.exchangers.told and not any(one.recovery.told for one in self.zones):
            recovered[:] = self.exchangers.share(values, times @ offered, latent_effectiveness)
        outdoor = np.array([one.outdoor(values) for one in self.zones])
        place = np.arange(len(self.zones))
        chosen = place < self.n_chosen
        paths = Paths(
            chosen=chosen,
            alike=~chosen & (place < self.n_chosen + self.n_alike),
            times=times,
            outdoor_kg_s=outdoor - recovered * mechanical,
            received_kg_s=np.array([one.mixed(values) for one in self.zones]),
            share=_shares(self.run, [one.zone for one in self.zones]),
        )
        outdoors = times[chosen] @ paths.outdoor_kg_s[chosen]
        notes = self._flow_notes()
        if latent_effectiveness is None:
            notes += self._recovery_notes(values)
        notes += self._rest_notes(values, recovered, times[:, None] * mechanical, t_out_c)
        brought = np.zeros(values.n_steps)
        exchange, loss, flow = outdoors, outdoors[None], np.zeros((1, 1, values.n_steps))
        if len(self.zones) > self.n_chosen:
            loss, flow = paths.couplings_kg_s()
            exchange = loss[0]
            notes += self._neighbour_notes(paths, outdoors, exchange - flow[0].sum(axis=0))
        if len(self.zones) > 1:
            at_mean = exchange * (w_out_kg_kg - w_kg_kg)
            brought = paths.brought_kg_s(w, w_out_kg_kg) - at_mean
        return SpaceAir(
            exchange_kg_s=exchange,
            brought_kg_s=brought,
            mechanical_kg_s=mechanical[: self.n_chosen],
            loss_kg_s=loss,
            flow_kg_s=flow,
            notes=notes,
        )

    def _flow_notes(self) -> list[str]:
        """Say which flows of the space are not reported."""
        space = self.zones[: self.n_chosen]
        known = {q for one in space for q, series in one.flows.items() if series is not None}
        if known & set(_AFN_FLOWS):
            return []
        asked = [MECHANICAL] if _COMBINED in known else ZONE_FLOWS
        # What the run's own lists do not name is not in the model: nothing to say.
        listed = {quantity for title, quantity in _IN_THE_MODEL.items() if self._lists(title)}
        told = set(_IN_THE_MODEL.values()) if self.run.tables else set()
        absent = [q.asked_as for q in asked if q not in known and (q in listed or q not in told)]
        notes = (
            [f"not reported by the run and taken as zero: {', '.join(absent)}"] if absent else []
        )
        for title, quantity in _IN_THE_MODEL.items():
            named = {name.casefold() for _, name in self.run.tables.get((title, "Zone Name"), [])}
            silent = [
                one.zone.name
                for one in space
                if one.zone.name.casefold() in named
                and one.flows[quantity] is None
                and (one.flows[_COMBINED] is None or quantity not in _SEPARATE)
            ]
            if silent:
                notes.append(
                    f"the model lets air flow into {', '.join(silent)} that the run does not "
                    f"report: add Output:Variable,*,{quantity.asked_as},Hourly; to the model"
                )
        return notes

    def _lists(self, title: str) -> bool:
        """Tell whether the run lists objects of this kind."""
        return bool(self.run.tables.get((title, "Zone Name")))

    def _recovery_notes(self, values: Values) -> list[str]:
        """Say whether latent recovery was seen."""
        space = self.zones[: self.n_chosen]
        told = [r for r in (*(one.recovery for one in space), self.exchangers) if r.told]
        if any(recovery.works(values) for recovery in told):
            return [
                "the latent effectiveness of the heat recovery is fitted to the run's own outputs"
            ]
        if told or not any(np.any(one.flow(values, MECHANICAL) > 0.0) for one in space):
            return []
        return [
            "mechanical ventilation is taken without latent recovery; latent_effectiveness sets it"
        ]

    def _rest_notes(
        self, values: Values, recovered: FloatArray, mechanical: FloatArray, t_out_c: FloatArray
    ) -> list[str]:
        """Say how long the recovery of ideal loads rests, and what that adds to the exchange.

        `recovered` and `mechanical` [kg/s] have the shape (n_zones, n_steps).

        Notes
        -----
        *Source.* EnergyPlus, `PurchasedAirManager.cc`: dead band shuts off heat recovery, and so
        does cooling while the room's enthalpy is above that outdoors; supply air is limited to
        saturation at its own temperature.
        """
        rests_h, lost_kg = 0.0, 0.0
        step_s = 3600.0 / values.steps_per_hour
        for place, one in enumerate(self.zones[: self.n_chosen]):
            working = float(recovered[place].max())
            if not one.recovery.active or working <= 0.0:
                continue
            idle = np.where((mechanical[place] > 0.0) & (t_out_c < _COLD_C), 1.0, 0.0)
            idle *= 1.0 - recovered[place] / working
            rests_h = max(rests_h, float(idle.sum()) / values.steps_per_hour)
            lost_kg += step_s * working * float(idle @ mechanical[place])
        if rests_h < 1.0:
            return []
        note = (
            f"the heat recovery rests in {rests_h:.0f} h colder than {_COLD_C:g} °C outdoors, in "
            "which the engine's ideal loads do not heat: the exchange is then "
            f"{lost_kg / (3600.0 * rests_h):.3g} kg/s larger than with one that runs on; a "
            "humidistat of the engine's own holds less than it is set to in such hours"
        )
        return [note]

    def _neighbour_notes(
        self, paths: Paths, outdoors: FloatArray, exchange: FloatArray
    ) -> list[str]:
        """Say what zones beside the space were taken for."""
        drawn = float(np.mean(paths.drawn_kg_s()))
        if drawn <= 0.0:
            return []
        alike = self.zones[self.n_chosen : self.n_chosen + self.n_alike]
        names = ", ".join(one.zone.name for one in alike)
        note = f"the space takes {drawn:.3g} kg/s of air from other zones, on average"
        if names:
            note += f"; {names}, held at the same relative humidity, solved with it"
        if len(self.zones) > self.n_chosen + self.n_alike:
            note += (
                f"; {'the others' if names else 'they'} follow its humidity as far as their own "
                f"leaks allow, which adds {np.mean(exchange - outdoors):.3g} kg/s to its exchange "
                f"of {np.mean(outdoors):.3g} kg/s"
            )
        told = any((title, "Zone Name") in self.run.tables for title in _MIXING_LISTS)
        if len(self.zones) > 2 and not told:  # noqa: PLR2004 - of two zones the other is meant
            note += "; which zone gives how much is not told, all are taken alike"
        return [note]
