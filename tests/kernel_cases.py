"""A made-up cold year for the kernel, and short ways to call it: test-only, no weather file."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from dewmargin.kernel.source import NEVER, UNLIMITED

HOUR_S = 3600.0
# Basis of the numbers: a 500 m3 house at 21 °C, half an air change an hour, a buffer of 5000 kg.
MASS_KG, EXCHANGE_KG_S = 595.61, 297.805 / HOUR_S
BUFFER_KG, BUFFER_KG_S = 5000.0, 600.0 / HOUR_S
BETA = 0.0033  # kg/(m2 s), a film of 3 W/(m2 K)
MOST_KG_M2 = 0.1


def saturated(t_c: np.ndarray) -> np.ndarray:
    """Return a plausible saturated humidity ratio (Magnus form, 80 kPa); only its shape matters."""
    return 0.622 * 611.2 * np.exp(17.62 * t_c / (243.12 + t_c)) / 80_000.0


@dataclass(frozen=True, kw_only=True)
class Problem:
    """Everything the kernel is told about a run of steps."""

    low: np.ndarray
    high: np.ndarray
    k: np.ndarray
    g_in: np.ndarray
    a_out: np.ndarray
    heat_frac: np.ndarray
    r0: np.ndarray
    r1: np.ndarray
    r0_rest: np.ndarray
    r1_rest: np.ndarray
    area: np.ndarray = field(default_factory=lambda: np.empty(0))
    x_sat: np.ndarray | None = None
    most: float = MOST_KG_M2
    low_wet: np.ndarray | None = None
    wet_above: float = np.inf
    mass: float = MASS_KG
    buffer_mass: float = 0.0
    h: float = 0.0
    unlimited: bool = False
    most_cycles_per_h: float = 3.0

    @property
    def building(self) -> tuple[object, ...]:
        """Return what tells a building from others."""
        shared = (self.high, self.k, self.g_in, self.a_out, self.area, self.saturation)
        return (*(a.tobytes() for a in shared), self.most, self.mass, self.buffer_mass, self.h)

    @property
    def saturation(self) -> np.ndarray:
        """Return the surfaces' saturation, one row a surface."""
        return np.empty((0, self.low.size)) if self.x_sat is None else self.x_sat

    @property
    def beta(self) -> np.ndarray:
        """Return the surfaces' mass transfer, which here is one number."""
        return np.full_like(self.saturation, BETA)

    def between(self, start: int, stop: int) -> Problem:
        """Return a part of the steps."""
        arrays = (
            "low",
            "high",
            "k",
            "g_in",
            "a_out",
            "heat_frac",
            "r0",
            "r1",
            "r0_rest",
            "r1_rest",
        )
        cut = {name: getattr(self, name)[start:stop] for name in arrays}
        low_wet = None if self.low_wet is None else self.low_wet[start:stop]
        saturation = np.ascontiguousarray(self.saturation[:, start:stop])
        return replace(self, **cut, low_wet=low_wet, x_sat=saturation)

    def solve(
        self, cases, x: float, y: float, film: np.ndarray | None = None
    ) -> dict[str, np.ndarray | float]:
        """Call a kernel's `cases` with this one case and name what it returns."""
        return solve_together([self], cases, x, y, film)[0]

    def balance_error(self, solved: dict, x: float, y: float) -> np.ndarray:
        """Return stored less (in - out + added - taken by films - fog) of each step. [kg]."""
        stored = self.mass * np.diff(solved["x_end"], prepend=x)
        stored = stored + self.buffer_mass * np.diff(solved["y_end"], prepend=y)
        flows = self.g_in * HOUR_S - self.a_out * solved["sum_x"]
        lost = self.area @ solved["taken"] + solved["fog"]
        return stored - (flows + solved["added"] - lost)


OUTPUTS = (
    "sum_x",
    "added_first",
    "added_rest",
    "running",
    "running_rest",
    "fog",
    "x_end",
    "y_end",
)


def solve_together(
    problems: list[Problem], cases, x: float, y: float, film: np.ndarray | None = None
) -> list[dict[str, np.ndarray | float]]:
    """Call a kernel's `cases` once with cases that have the same steps and as many surfaces.

    Those that differ only in what is to be held, in their device and in what counts as wet are
    given as cases of one building.
    """
    size, n, m = len(problems), problems[0].low.size, problems[0].area.size
    place: dict[tuple, int] = {}
    of_building = np.array([place.setdefault(p.building, len(place)) for p in problems])
    firsts = [problems[of_building.tolist().index(i)] for i in range(len(place))]

    def rows(name: str) -> np.ndarray:
        return np.array([getattr(p, name) for p in firsts])

    zero, endless = np.zeros(n), np.full(n, UNLIMITED)
    rates = [
        [endless, zero, zero, zero, np.ones(n), np.ones(n)]
        if p.unlimited
        else [p.r0, p.r1, p.r0_rest, p.r1_rest, p.heat_frac, p.heat_frac]
        for p in problems
    ]
    dry = [p.low for p in problems]
    wet = [p.low if p.low_wet is None else p.low_wet for p in problems]
    films = np.tile(np.zeros(m) if film is None else film, (size, 1))
    end_x, end_y = np.full(size, float(x)), np.full(size, float(y))
    each = np.arange(size)
    steps, of_films = np.empty((len(OUTPUTS), size, n)), np.zeros((3, size, m, n))
    cases(
        end_x, end_y, films, HOUR_S, *map(rows, ("mass", "buffer_mass", "h")),
        *map(rows, ("high", "k", "g_in", "a_out", "area", "beta", "saturation")),
        np.array([np.full((m, n), p.most) for p in firsts]), each, of_building,
        np.array([p.unlimited for p in problems]), each, each + size, each,
        np.array([np.full(m, p.wet_above) for p in problems]),
        np.array(dry + wet), *(np.array(rows) for rows in zip(*rates, strict=True)),
        np.array([4.0 * p.most_cycles_per_h / HOUR_S for p in problems]), np.zeros(size),
        steps, of_films,
    )  # fmt: skip
    solved = []
    for c in each:
        named = dict(zip(OUTPUTS, steps[:, c], strict=True))
        named |= dict(zip(("taken", "runoff", "film_end"), of_films[:, c], strict=True))
        named["added"] = named["added_first"] + named["added_rest"]
        solved.append(named | {"film": films[c], "x": float(end_x[c]), "y": float(end_y[c])})
    return solved


def constant(n: int, **values: float) -> Problem:
    """Return `n` equal steps without a humidifier; name what differs."""
    base = {
        "low": NEVER,
        "high": 0.0157,
        "k": 1.0,
        "g_in": 0.3 / HOUR_S + EXCHANGE_KG_S * 0.001279,
        "a_out": EXCHANGE_KG_S,
        "heat_frac": 1.0,
        "r0": 0.0,
        "r1": 0.0,
        "r0_rest": 0.0,
        "r1_rest": 0.0,
    }
    others = {key: value for key, value in values.items() if key not in base}
    arrays = {key: np.full(n, float(values.get(key, value))) for key, value in base.items()}
    return Problem(**arrays, **others)


def cold_year(**values: object) -> Problem:
    """Return a seeded, cold year: set-back, gains by the hour, gusty exchange, wet windows."""
    n = 8760
    rng = np.random.default_rng(1)
    hour = np.arange(n)
    t_out = 5.0 - 12.0 * np.cos(hour / n * 2 * np.pi) - 6.0 * np.cos(hour / 24 * 2 * np.pi)
    t_out = t_out + np.convolve(rng.normal(0.0, 6.0, n), np.ones(48) / 7.0, "same")
    t_in = np.where((hour % 24 >= 6) & (hour % 24 < 22), 20.0, 18.0)
    w_out = 0.75 * saturated(t_out)
    gusts = np.abs(np.convolve(rng.normal(0.0, 1.0, n), np.ones(6) / 3.0, "same"))
    exchange = EXCHANGE_KG_S * (0.5 + 0.4 * gusts)
    gains = 7.0 / 24.0 / HOUR_S * (1.0 + 0.8 * np.sin(hour / 24 * 4 * np.pi))
    index = np.array([0.45, 0.55, 0.65])[:, None]
    zero = np.zeros(n)
    problem = Problem(
        low=0.38 * saturated(t_in),
        high=saturated(t_in),
        k=saturated(np.array([20.0])) / saturated(t_in),
        g_in=gains + exchange * w_out,
        a_out=exchange,
        heat_frac=np.ones(n),
        r0=zero,
        r1=zero,
        r0_rest=zero,
        r1_rest=zero,
        x_sat=saturated(t_out + index * (t_in - t_out)),
        area=np.array([6.0, 6.0, 15.0]),
    )
    if values.pop("dry_windows", False):
        problem = replace(problem, x_sat=None, area=np.empty(0))
    if values.pop("departure", False):
        # Around a humidity that steps from hour to hour, as a simulation reports it.
        base = 0.45 * problem.high * (1.0 + 0.3 * np.sin(hour / 5.0))
        problem = replace(
            problem,
            low=problem.low - base,
            high=problem.high - base,
            x_sat=problem.saturation - base,
            g_in=zero,
            k=np.ones(n),
        )
    if values.pop("buffered", False):
        problem = replace(problem, buffer_mass=BUFFER_KG, h=BUFFER_KG_S)
    capacity = values.pop("capacity_kg_h", None)
    if capacity is not None:
        rate = np.full(n, float(capacity) / HOUR_S)
        problem = replace(problem, r0=1.3 * rate, r1=0.3 * rate / 0.006)
    if values.pop("heating_call", False):
        problem = replace(
            problem, heat_frac=np.clip((18.0 - t_out) / 60.0, 0.0, 1.0), r0_rest=0.3 * problem.r0
        )
    if values.pop("nothing_without_heat", False):
        problem = replace(problem, r0_rest=zero)
    return replace(problem, **values)
