"""The heating plant of a building: when it heats, and how warm the air in its supply plenum is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal, Self

import numpy as np
from pydantic import Field, model_validator

from dewmargin import air
from dewmargin.case import AirSystem
from dewmargin.errors import InputError
from dewmargin.inputs import Inputs

if TYPE_CHECKING:
    from dewmargin.columns import FloatArray

HOTTEST_SUPPLY_C = 95.0  # beyond it a limit control has long opened; common practice, no source


class HeatingPlant(Inputs):
    """A heating plant of constant capacity, which cycles to meet the heat that the space takes.

    At constant capacity a heat pump differs from a furnace in its numbers only.
    """

    kind: Literal["furnace", "heat_pump", "hydronic"] = Field(
        "furnace",
        description="furnace and heat_pump blow their heat through ducts, where a humidifier can "
        "sit; hydronic has no air system; default: furnace",
    )
    capacity_kw: Annotated[float, Field(gt=0.0, le=1e6)] | None = Field(
        None, description="Heat output while it runs; a plant with ducts needs it"
    )
    airflow_l_s: Annotated[float, Field(gt=0.0, le=1e6)] | None = Field(
        None,
        description="Air moved by the blower, at the state of the room; a plant with ducts needs "
        "it",
    )

    @model_validator(mode="after")
    def _has_what_its_kind_needs(self) -> Self:
        """Refuse ducts without air or heat, and air without ducts."""
        if self.kind == "hydronic":
            if self.airflow_l_s is not None:
                raise ValueError("a hydronic plant moves no air: leave airflow_l_s out")
            return self
        for key in ("capacity_kw", "airflow_l_s"):
            if getattr(self, key) is None:
                raise ValueError(f"a {self.kind} needs {key}")
        return self

    def air_system(
        self, *, heating_w: FloatArray, t_air_c: FloatArray, w_kg_kg: FloatArray, p_pa: FloatArray
    ) -> AirSystem | None:
        r"""Return what the ducts would do for a humidifier, or None without ducts.

        .. math:: f = \min(q / Q, 1) \qquad T_s = T_i + Q / (M\,c_p)

        Parameters
        ----------
        heating_w : float64 array, shape (n_steps,)
            Heat that the space takes; below 0 counts as 0. [W]
        t_air_c, w_kg_kg, p_pa : float64 array, shape (n_steps,)
            State of the room air, which is also the return air. [°C, kg/kg, Pa]

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
        *Validity.* Constant capacity: the burner runs at full output or not at all, and where the
        space takes more than the capacity the excess is lost. The blower moves a constant volume;
        its dry air mass M is taken at the year's mean room density. Duct losses and blower heat
        are left out. NaN in, NaN out.

        *Source.* First-law balance of the air stream; run fraction of a cycling plant.
        """
        if self.capacity_kw is None or self.airflow_l_s is None:
            return None
        capacity_w = 1e3 * self.capacity_kw
        density_kg_m3 = float(np.mean(air.dry_air_density(t_air_c, w_kg_kg, p_pa)))
        airflow_kg_s = 1e-3 * self.airflow_l_s * density_kg_m3
        cp = air.CP_DRY_AIR + air.CP_VAPOUR * w_kg_kg
        t_supply_c = t_air_c + capacity_w / (airflow_kg_s * cp)
        if (hottest := float(np.max(t_supply_c))) > HOTTEST_SUPPLY_C:
            raise InputError(
                f"{self.capacity_kw:g} kW would heat {self.airflow_l_s:g} l/s of air to "
                f"{hottest:.0f} °C",
                where="heating",
                hint=f"at most {HOTTEST_SUPPLY_C:g} °C; is capacity_kw in kW, airflow_l_s in l/s?",
            )
        return AirSystem(
            heat_frac=np.clip(heating_w / capacity_w, 0.0, 1.0),
            t_supply_c=t_supply_c,
            airflow_kg_s=airflow_kg_s,
        )
