"""Cut, spliced and doctored files: a case or a sentence, never another error."""

from __future__ import annotations

import time

import numpy as np
import pytest

import written_runs
from dewmargin.errors import InputError
from dewmargin.space.simulation import Simulation

MUTANTS = 342  # of each file, so that results files have 1,000


def _cut(raw: bytes, draw: np.random.Generator) -> bytes:
    return raw[: int(draw.integers(0, len(raw)))]


def _flip(raw: bytes, draw: np.random.Generator) -> bytes:
    spoilt = bytearray(raw)
    for place in draw.integers(0, len(raw), int(draw.integers(1, 30))):
        spoilt[place] = draw.integers(0, 256)
    return bytes(spoilt)


def _flip_head(raw: bytes, draw: np.random.Generator) -> bytes:
    return _flip(raw[:3000], draw) + raw[3000:]


def _drop(raw: bytes, draw: np.random.Generator) -> bytes:
    first, last = sorted(draw.integers(0, len(raw), 2).tolist())
    return raw[:first] + raw[last:]


def _drop_lines(raw: bytes, draw: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    first = int(draw.integers(0, len(lines)))
    return b"\n".join(lines[:first] + lines[first + int(draw.integers(1, 60)) :])


def _double_lines(raw: bytes, draw: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    first = int(draw.integers(0, len(lines)))
    last = first + int(draw.integers(1, 60))
    return b"\n".join(lines[:last] + lines[first:])


def _swap_lines(raw: bytes, draw: np.random.Generator) -> bytes:
    lines = raw.split(b"\n")
    one, other = draw.integers(0, len(lines), 2).tolist()
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def _splice(raw: bytes, draw: np.random.Generator) -> bytes:
    return raw[: int(draw.integers(0, len(raw)))] + raw[int(draw.integers(0, len(raw))) :]


def _odd_word(raw: bytes, draw: np.random.Generator) -> bytes:
    words = [b"nan", b"-inf", b"1e999", b"1_0", b"", b"\x00", b"-", b"9" * 400, b"24:60",
             b",,,,", b"\r", "٣".encode(), b"\xff\xfe", b"1,2,3", b"[C]",
             b"!Hourly", b"2,"]  # fmt: skip
    place = int(draw.integers(0, len(raw)))
    return raw[:place] + words[int(draw.integers(0, len(words)))] + raw[place:]


# A value that has become another number cannot be seen, nor two values that have changed places:
# only what cuts, drops, doubles and splices has to be found.
STRUCTURAL = (_cut, _drop, _drop_lines, _double_lines, _splice)
MUTATIONS = (*STRUCTURAL, _flip, _flip_head, _swap_lines, _odd_word)


def _equal(one, other) -> bool:
    return (
        all(
            np.array_equal(getattr(one, name), getattr(other, name))
            for name in ("t_out_c", "w_out_kg_kg", "p_pa", "t_air_c", "w_base_kg_kg",
                         "exchange_kg_s", "gains_kg_s", "heating_w", "cooling", "interval_start")
        )
        and one.dry_air_kg == other.dry_air_kg
        and one.simulated_surfaces.keys() == other.simulated_surfaces.keys()
        and all(
            np.array_equal(face.t_surface_c, other.simulated_surfaces[name].t_surface_c)
            for name, face in one.simulated_surfaces.items()
        )
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["sql", "eso", "csv", "eio"])
def test_any_damage_ends_in_a_sentence_or_a_case(tmp_path, kind):
    # Seeded, so that a failure comes again.
    path = written_runs.WRITERS["eso" if kind == "eio" else kind](tmp_path)
    spoilt = path.with_suffix(f".{kind}")
    reader = Simulation(results=path.name)
    sound = reader.case(weather=None, folder=tmp_path)
    whole = spoilt.read_bytes()
    draw = np.random.default_rng(20261125)
    refused, slowest_s = 0, 0.0
    silent: list[str] = []
    for number in range(MUTANTS):
        mutation = MUTATIONS[number % len(MUTATIONS)]
        spoilt.write_bytes(mutation(whole, draw))
        begin = time.perf_counter()
        try:
            case = reader.case(weather=None, folder=tmp_path)
        except InputError:
            refused += 1
        else:
            if not _equal(case, sound) and case.notes == sound.notes:
                silent.append(mutation.__name__)
        slowest_s = max(slowest_s, time.perf_counter() - begin)
    print(  # noqa: T201 - shown with -s: the counts are worth knowing
        f"{kind}: {refused} of {MUTANTS} refused, silent: {silent}, slowest {slowest_s:.2f} s"
    )

    assert refused > MUTANTS // 2
    structural = [name for name in silent if name in {m.__name__ for m in STRUCTURAL}]
    # The goal is 1 % of structural mutants.
    assert len(structural) <= 0.01 * MUTANTS * len(STRUCTURAL) / len(MUTATIONS), structural
    assert slowest_s < 2.0
