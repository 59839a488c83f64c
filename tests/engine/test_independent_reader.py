"""The same files through db-eplusout-reader, a reader that others wrote."""

from __future__ import annotations

import numpy as np
import pytest
from db_eplusout_reader import DBEsoFileCollection, Variable, get_results
from db_eplusout_reader.constants import H

from dewmargin.space.simulation import Simulation

pytestmark = [pytest.mark.engine, pytest.mark.slow]

ASKED = {
    "t_out_c": Variable("Environment", "Site Outdoor Air Drybulb Temperature", "C"),
    "w_out_kg_kg": Variable("Environment", "Site Outdoor Air Humidity Ratio", "kgWater/kgDryAir"),
    "p_pa": Variable("Environment", "Site Outdoor Air Barometric Pressure", "Pa"),
    "t_air_c": Variable("CEDAR", "Zone Mean Air Temperature", "C"),
    "w_base_kg_kg": Variable("CEDAR", "Zone Mean Air Humidity Ratio", "kgWater/kgDryAir"),
    "exchange_kg_s": Variable("CEDAR", "Zone Infiltration Mass Flow Rate", "kg/s"),
    "heating_w": Variable("CEDAR IDEAL", "Zone Ideal Loads Zone Sensible Heating Rate", "W"),
}


@pytest.mark.parametrize("ending", ["sql", "eso"])
def test_another_reader_finds_the_same_hours(run_engine, ending):
    folder = run_engine("cedar_house", "free", "USA_IL_Chicago")
    file = folder / f"eplusout.{ending}"
    case = Simulation(results=file.name).case(weather=None, folder=folder)

    source = str(file)
    if ending == "eso":
        (source,) = (
            each
            for each in DBEsoFileCollection.from_path(source)
            if each.environment_name == "ANNUAL"
        )

    for name, variable in ASKED.items():
        (values,) = get_results(source, variables=variable, frequency=H).values()

        # Of a .sql file it joins environments: two design days of 24 hours come first.
        assert len(values) == {"sql": 48 + 8760, "eso": 8760}[ending]
        # Sums and means over a single zone may round in the last digit.
        np.testing.assert_allclose(getattr(case, name), values[-8760:], rtol=1e-12, err_msg=name)
