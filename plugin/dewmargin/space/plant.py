"""Heating plant of a building: when it heats, how warm its air is, what its heat takes."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import AfterValidator, Field, field_validator, model_validator

from dewmargin.case import AirSystem, HeatSource, LoadCurve
from dewmargin.contracts import Points
from dewmargin.errors import InputError, OutOfRangeError
from dewmargin.inputs import Inputs
from dewmargin.physics import air
from dewmargin.space.tariff import Carrier

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

HOTTEST_SUPPLY_C = 95.0  # beyond it a limit control has long opened; common practice, no source
_MINUTES = 60.0
_OF_A_HEAT_PUMP = ("capacity_points", "cop_points", "backup_kw")
_OF_A_RUN = ("coil", "fan")
_OF_PART_OUTPUT = ("stages", "stage_airflow", "turn_down", "least_airflow_frac")
# By kind: keys that it cannot use, and groups of keys of which it needs one.
_FOREIGN = {
    "furnace": (*_OF_A_HEAT_PUMP, *_OF_A_RUN),
    "heat_pump": _OF_A_RUN,
    "hydronic": (
        *_OF_A_HEAT_PUMP,
        *_OF_A_RUN,
        "airflow_l_s",
        "blower",
        "blower_w",
        *_OF_PART_OUTPUT,
    ),
    "simulated": (*_OF_A_HEAT_PUMP, "capacity_kw", "airflow_l_s", *_OF_PART_OUTPUT),
}
_NEEDED: dict[str, tuple[tuple[str, ...], ...]] = {
    "furnace": (("capacity_kw",), ("airflow_l_s",)),
    "heat_pump": (("capacity_kw", "capacity_points"), ("airflow_l_s",)),
    "hydronic": (),
    "simulated": (),
}


class HeatingPlant(Inputs):
    """A heating plant that cycles to meet the heat that the space takes."""

    kind: Literal["furnace", "heat_pump", "hydronic", "simulated"] = Field(
        "furnace",
        description="furnace and heat_pump blow their heat through ducts, where a humidifier can "
        "sit; hydronic has no air system; simulated: coil and fan as a simulation run reports "
        "them; default: furnace",
    )
    coil: str | None = Field(
        None, description="Heating coil of a simulated plant, if the run has several"
    )
    fan: str | None = Field(None, description="Fan of a simulated plant, if the run has several")
    capacity_kw: Annotated[float, Field(gt=0.0, le=1e6)] | None = Field(
        None, description="Heat output while it runs; a furnace needs it"
    )
    capacity_points: Points | None = Field(
        None,
        description="Heat output of a heat pump as [outdoor °C, kW], coldest first; flat beyond "
        "the ends",
    )
    backup_kw: Annotated[float, Field(ge=0.0, le=1e6)] = Field(
        0.0,
        description="Electric heat behind a heat pump, for what it lacks; default: none",
    )
    airflow_l_s: Annotated[float, Field(gt=0.0, le=1e6)] | None = Field(
        None,
        description="Air moved by the blower, at the state of the room; a plant with ducts needs "
        "it",
    )
    blower: Literal["auto", "continuous"] = Field(
        "auto",
        description="auto: the blower runs with the heat; continuous: always; default: auto",
    )
    blower_w: Annotated[float, Field(ge=0.0, le=1e6)] | None = Field(
        None, description="Electricity of the blower; default: not known, so is the fans' energy"
    )
    most_cycles_per_h: Annotated[float, Field(gt=0.0, le=60.0)] = Field(
        3.0,
        description="Most firings in an hour, N, which are those at half load; at the duty f it "
        "fires 4·N·f·(1 − f) times; default: common practice, no source",
    )
    cycles_per_h: Annotated[float, Field(gt=0.0, le=60.0)] | None = Field(
        None,
        description="Former key, a fixed number of starts in an hour; it is taken as "
        "most_cycles_per_h, and a note says so",
    )
    dead_time_s: Annotated[float, Field(ge=0.0, le=600.0)] = Field(
        0.0,
        description="Net time without vapour at each firing: warm-up and blower delay less the "
        "blower's overrun; default: none",
    )
    stages: tuple[Annotated[float, Field(gt=0.0, le=1.0)], ...] = Field(
        (1.0,),
        description="Heat of each stage as a share of the full capacity, one or two, the last 1.0; "
        "default: one stage",
    )
    stage_airflow: tuple[Annotated[float, Field(gt=0.0, le=1.0)], ...] | None = Field(
        None,
        description="Air moved in each stage as a share of airflow_l_s; default: the share of the "
        "heat, which keeps the plenum as warm, of a heat pump its square root; common practice, "
        "no source",
    )
    turn_down: Annotated[float, Field(gt=1.0, le=100.0)] | None = Field(
        None,
        description="Full output by least output of a plant that modulates; default: it is on or "
        "off",
    )
    least_airflow_frac: Annotated[float, Field(gt=0.0, le=1.0)] | None = Field(
        None,
        description="Air moved at the least output of a plant that modulates as a share of "
        "airflow_l_s; default: 1/turn_down, of a heat pump its square root; common practice, no "
        "source",
    )
    carrier: Carrier | None = Field(
        None,
        description="What the plant burns or draws; default: electricity for a heat pump, else not "
        "known",
    )
    efficiency: Annotated[float, Field(gt=0.0, le=20.0)] | None = Field(
        None,
        description="Heat for each unit of energy bought, of a heat pump its coefficient of "
        "performance; default: not known, so is the energy for space heating",
    )
    cop_points: Points | None = Field(
        None, description="Coefficient of performance as [outdoor °C, -], coldest first"
    )

    @field_validator("capacity_points", "cop_points")
    @classmethod
    def _rise_in_temperature(cls, points: Points | None) -> Points | None:
        """Refuse points out of order, or not above 0."""
        if points is not None:
            if not points:
                raise ValueError("must not be empty")
            if any(not colder[0] < warmer[0] for colder, warmer in pairwise(points)):
                raise ValueError("outdoor temperatures must rise from point to point")
            if any(not value > 0.0 for _, value in points):
                raise ValueError("must be above 0 at every temperature")
        return points

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Self:
        """Refuse what a kind cannot use, and ducts without air or heat."""
        for key in _FOREIGN[self.kind]:
            if key in self.model_fields_set and getattr(self, key) is not None:
                raise ValueError(f"{key} does not go with kind = {self.kind!r}")
        if self.kind == "heat_pump" and self.carrier not in (None, "electricity"):
            raise ValueError("a heat_pump draws electricity: leave carrier out")
        for one, other in (
            ("capacity_kw", "capacity_points"),
            ("efficiency", "cop_points"),
            ("most_cycles_per_h", "cycles_per_h"),
        ):
            if {one, other} <= self._told:
                raise ValueError(f"give {one} or {other}, not both")
        self._require_stages()
        for keys in _NEEDED[self.kind]:
            if all(getattr(self, key) is None for key in keys):
                raise ValueError(f"a {self.kind} needs {' or '.join(keys)}")
        return self

    @property
    def _told(self) -> set[str]:
        """Keys that were given a value."""
        return {key for key in self.model_fields_set if getattr(self, key) is not None}

    @property
    def firings_per_h(self) -> float:
        """Most firings in an hour."""
        return self.most_cycles_per_h if self.cycles_per_h is None else self.cycles_per_h

    def _require_stages(self) -> None:
        rises = all(low < high for low, high in pairwise(self.stages))
        if len(self.stages) not in (1, 2) or self.stages[-1] != 1.0 or not rises:
            raise ValueError("stages are one or two shares that rise to 1.0, as [0.65, 1.0]")
        if self.turn_down is not None and len(self.stages) > 1:
            raise ValueError("give stages or turn_down, not both")
        if self.least_airflow_frac is not None and self.turn_down is None:
            raise ValueError("least_airflow_frac needs turn_down")
        if (shares := self.stage_airflow) is not None and (
            len(shares) != len(self.stages) or shares[-1] != 1.0 or shares != tuple(sorted(shares))
        ):
            raise ValueError("stage_airflow needs a share for each of stages, rising to 1.0")

    def notes(self, system: AirSystem | None) -> tuple[str, ...]:
        """Return what a reader has to know of the plant's firings."""
        notes = []
        if self.cycles_per_h is not None:
            notes.append(
                f"heating.cycles_per_h = {self.cycles_per_h:g} is taken as most_cycles_per_h, the "
                "firings in an hour at half load: it was a fixed rate, and there are fewer at "
                "other loads"
            )
        if system is None:
            return tuple(notes)
        f = np.broadcast_to(system.heat_frac, system.t_supply_c.shape)
        firings_h = 4.0 * self.firings_per_h * f * (1.0 - f)
        if f.any() and firings_h.any():
            lost = float(np.minimum(firings_h / _MINUTES, f).sum() / f.sum())
            taken = f"{self.dead_time_s:g} s" if self.dead_time_s else "none"
            notes.append(
                f"a minute without vapour at each firing of the plant would take {100 * lost:.0f} "
                f"% of the time in which a humidifier in its air may run; taken: {taken} "
                "(dead_time_s)"
            )
        return tuple(notes)

    @property
    def _least(self) -> tuple[float, float]:
        """Shares of full output and of full airflow at its least output, while it runs."""
        heat = self.stages[0] if self.turn_down is None else 1.0 / self.turn_down
        told = self.least_airflow_frac
        if self.turn_down is None and self.stage_airflow is not None:
            told = self.stage_airflow[0]
        if told is not None:
            return heat, told
        return heat, heat**0.5 if self.kind == "heat_pump" else heat

    def limit_w(self, t_out_c: FloatArray) -> FloatArray:
        """Return the heat it can supply, backup included, (n_steps,); may be infinite. [W]."""
        return self._capacity_w(t_out_c) + 1e3 * self.backup_kw

    def _capacity_w(self, t_out_c: FloatArray) -> FloatArray:
        if self.capacity_points is not None:
            t_c, kw = zip(*self.capacity_points, strict=True)
            result: FloatArray = 1e3 * np.interp(t_out_c, t_c, kw)
            return result
        return np.full_like(t_out_c, np.inf if self.capacity_kw is None else 1e3 * self.capacity_kw)

    def heat_source(self, *, heating_w: FloatArray, t_out_c: FloatArray) -> HeatSource | None:
        """Return what a little more heat takes, or None if that is not known.

        Parameters
        ----------
        heating_w, t_out_c : float64 array, shape (n_steps,)
            Heat that the space takes, and outdoor air. [W, °C]

        Notes
        -----
        Heat beyond what is left of a heat pump's capacity comes from its backup, at 1 for 1.
        """
        carrier = "electricity" if self.kind == "heat_pump" else self.carrier
        if self.cop_points is not None:
            t_c, cop = zip(*self.cop_points, strict=True)
            per_heat = 1.0 / np.interp(t_out_c, t_c, cop)
        elif self.efficiency is not None:
            per_heat = np.full_like(t_out_c, 1.0 / self.efficiency)
        else:
            return None
        if carrier is None:
            return None
        if self.backup_kw == 0.0:
            return HeatSource(carrier=carrier, energy_per_heat=per_heat)
        spare_w = np.maximum(self._capacity_w(t_out_c) - np.maximum(heating_w, 0.0), 0.0)
        return HeatSource(
            carrier=carrier,
            energy_per_heat=np.where(spare_w > 0.0, per_heat, 1.0),
            spare_w=spare_w,
            beyond_per_heat=np.ones_like(per_heat),
        )

    def air_system(
        self,
        *,
        heating_w: FloatArray,
        t_air_c: FloatArray,
        w_kg_kg: FloatArray,
        p_pa: FloatArray,
        t_out_c: FloatArray,
    ) -> AirSystem | None:
        r"""Return what the ducts would do for a humidifier, or None without ducts.

        .. math:: f = \min(q / Q, 1) \qquad T_s = T_i + Q / (M\,c_p)

        Parameters
        ----------
        heating_w : float64 array, shape (n_steps,)
            Heat that the space takes; below 0 counts as 0. [W]
        t_air_c, w_kg_kg, p_pa : float64 array, shape (n_steps,)
            State of the room air, which is also the return air. [°C, kg/kg, Pa]
        t_out_c : float64 array, shape (n_steps,)
            Outdoor air, which decides what a heat pump can do. [°C]

        Raises
        ------
        InputError
            If capacity and airflow make air hotter than ducts carry.

        Returns
        -------
        AirSystem or None
            Heating fraction, supply temperature and blower flow.

        Notes
        -----
        *Validity.* Without stages or turn_down the plant runs at full output or not at all, else
        see `LoadCurve.at`. Where the space takes more than that, a heat pump's backup adds to it
        while it runs on, and what is still missing is lost.
        The blower moves a constant volume; its dry air mass M is taken at the year's mean room
        density. Duct losses and blower heat are left out. NaN in, NaN out.

        *Source.* First-law balance of the air stream; run fraction of a cycling plant.
        """
        if self.airflow_l_s is None:
            return None
        capacity_w = self._capacity_w(t_out_c)
        density_kg_m3 = float(np.mean(air.dry_air_density(t_air_c, w_kg_kg, p_pa)))
        airflow_kg_s = 1e-3 * self.airflow_l_s * density_kg_m3
        least_heat, least_air = self._least
        curve = LoadCurve(
            least_w=least_heat * capacity_w,
            full_w=capacity_w,
            backup_w=1e3 * self.backup_kw,
            modulates=self.turn_down is not None,
            least_airflow_kg_s=least_air * airflow_kg_s,
            full_airflow_kg_s=airflow_kg_s,
            t_return_c=t_air_c,
            heat_capacity_j_kgk=air.heat_capacity(w_kg_kg),
        )
        system = AirSystem(
            **curve.at(heating_w),  # type: ignore[arg-type]
            off_airflow_kg_s=airflow_kg_s,
            load_w=heating_w,
            most_w=self.limit_w(t_out_c),
            curve=curve,
        )
        t_high_c = system.t_supply_c if system.t_high_c is None else system.t_high_c
        if (hottest := float(max(system.t_supply_c.max(), t_high_c.max()))) > HOTTEST_SUPPLY_C:
            raise InputError(
                f"{np.max(system.output_w) / 1e3:g} kW would heat {self.airflow_l_s:g} l/s of air "
                f"to {hottest:.0f} °C",
                where="heating",
                hint=f"at most {HOTTEST_SUPPLY_C:g} °C; is capacity_kw in kW, airflow_l_s in l/s?",
            )
        return self._with_blower(system)

    def simulated_air_system(
        self,
        *,
        coil_w: FloatArray,
        coil_frac: FloatArray,
        fan_kg_s: FloatArray,
        fan_frac: FloatArray,
        t_air_c: FloatArray,
        w_kg_kg: FloatArray,
    ) -> AirSystem:
        """Return the air system of a simulation, from what its coil and its fan report.

        Parameters
        ----------
        coil_w : float64 array, shape (n_steps,)
            Heat of the coil, mean of the step. [W]
        coil_frac, fan_frac : float64 array, shape (n_steps,)
            Part of the step in which coil and fan run. [-]
        fan_kg_s : float64 array, shape (n_steps,)
            Air moved, mean of the step. [kg/s]
        t_air_c, w_kg_kg : float64 array, shape (n_steps,)
            Room air. [°C, kg/kg]

        Raises
        ------
        OutOfRangeError
            If the coil never heats, or the fan never runs.

        Notes
        -----
        *Validity.* A fan of one speed: while it runs it moves the mean of its running hours. The
        air before the coil is taken as the room's, so that outdoor air mixed in before it makes
        the plenum colder than this by its share; the heat is the coil's own.

        *Source.* First-law balance of the air stream.
        """
        moving = fan_frac > 0.0
        heats = coil_frac > 0.0
        if not heats.any() or not moving.any():
            raise OutOfRangeError(
                f"the run's {'heating coil' if moving.any() else 'fan'} never runs",
                where="heating",
                hint="a furnace or heat_pump takes the heat that the zones ask for",
            )
        # The engine's water balance is flow times humidity ratio, so its flow counts as dry air.
        airflow_kg_s = float(fan_kg_s[moving].sum() / fan_frac[moving].sum())
        cp = air.heat_capacity(w_kg_kg)
        typical_w = float(coil_w[heats].sum() / coil_frac[heats].sum())
        output_w = np.where(heats, coil_w / np.where(heats, coil_frac, 1.0), typical_w)
        system = self._with_blower(
            AirSystem(
                heat_frac=np.clip(coil_frac, 0.0, 1.0),
                t_supply_c=t_air_c + output_w / (airflow_kg_s * cp),
                airflow_kg_s=airflow_kg_s,
                output_w=output_w,
                load_w=coil_w,
                most_w=output_w,
            )
        )
        if self.blower == "continuous":
            return system
        return replace(system, blower_frac=np.clip(np.maximum(fan_frac, coil_frac), 0.0, 1.0))

    def _with_blower(self, system: AirSystem) -> AirSystem:
        """Return the system with what is known of its blower."""
        continuous = self.blower == "continuous"
        return replace(
            system,
            blower_frac=np.ones_like(system.heat_frac) if continuous else None,
            blower_w=np.nan if self.blower_w is None else self.blower_w,
            most_cycles_per_h=self.firings_per_h,
            dead_time_s=self.dead_time_s,
        )


def _is_not_simulated(plant: HeatingPlant) -> HeatingPlant:
    if plant.kind == "simulated":
        raise ValueError("a simulated plant is for [space.simulation]")
    return plant


# A plant told by the scenario alone.
OwnPlant = Annotated[HeatingPlant, AfterValidator(_is_not_simulated)]
