"""Compare a GPU's years with the CPU's, or a simulated one's: `gpu_check.py [SCENARIO]`.

Prints the card and how far sums are apart; fails where counts differ or sums by more than 1e-12.
"""

from __future__ import annotations

import sys

import numpy as np

from dewmargin.solve import cases, year_of_many, year_on_gpu
from dewmargin.studies.compare.comparison import compare
from dewmargin.studies.demo import demo_folder
from year_cases import COUNTS, job_of

file = sys.argv[1] if len(sys.argv) > 1 else demo_folder() / "scenarios" / "larch_house.toml"
job, _ = job_of(compare(file))
(found,) = year_on_gpu.solve([job], year_on_gpu.gpu_years())
ran = cases.solve(job.of, job.cases)
demands = sorted(set(job.wanted_of) - {-1})
expected = year_of_many.year_numbers(
    job.of,
    job.book,
    ran,
    devices=job.cases.devices,
    of_device=job.cases.of_device,
    takers=job.takers,
    wanted_kg=ran.added_kg[demands],
    wanted_of=[-1 if want < 0 else demands.index(want) for want in job.wanted_of],
)
worst = 0.0
for name in year_of_many.METRICS:
    if name in COUNTS:
        np.testing.assert_array_equal(found[name], expected[name], err_msg=name)
        continue
    # A shortfall is a small difference of large sums.
    scale = np.maximum(np.abs(expected[name]), 1e-3 * expected["delivered_kg"])
    apart = np.abs(found[name] - expected[name]) / np.where(scale > 0.0, scale, 1.0)
    worst = max(worst, float(np.nanmax(apart, initial=0.0)))
    assert np.array_equal(np.isnan(found[name]), np.isnan(expected[name])), name
print(f"{job.cases.n} cases: equal counts, sums within {worst:.1e}")  # noqa: T201
assert worst <= 1e-12, worst
