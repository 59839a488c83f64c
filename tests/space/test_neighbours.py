"""Zones beside the space: limits one can check by hand, and a slow integration of all zones."""

from __future__ import annotations

import numpy as np
import pytest

from dewmargin.space.neighbours import Paths, effectiveness


def paths(chosen, outdoor, received, share, times=None, alike=None) -> Paths:
    """Build paths of one step from plain lists."""
    return Paths(
        chosen=np.array(chosen),
        alike=np.zeros(len(chosen), np.bool_) if alike is None else np.array(alike),
        times=np.ones(len(chosen)) if times is None else np.array(times),
        outdoor_kg_s=np.array(outdoor)[:, None],
        received_kg_s=np.array(received)[:, None],
        share=np.array(share),
    )


def added(found: Paths) -> np.ndarray:
    """Return what the zones beside it add to the loss of the space to outdoors."""
    loss, _ = found.couplings_kg_s()
    return loss[0] - found.times[found.chosen] @ found.outdoor_kg_s[found.chosen]


SWAP = [[0.0, 1.0], [1.0, 0.0]]


@pytest.mark.parametrize(
    ("received", "b2", "expected"),
    [
        # Series conductance of two links, m·b/(m + b): computed by hand.
        pytest.param((0.02, 0.02), 0.02, 0.01, id="both ways, as leaky as mixed: half"),
        pytest.param(
            (0.02, 0.02), 0.06, 0.015, id="both ways, three times as leaky: three quarters"
        ),
        pytest.param((0.02, 0.02), 1e9, 0.02, id="a neighbour open to the sky is outdoors"),
        pytest.param((0.02, 0.02), 0.0, 0.0, id="a sealed neighbour gives all of it back"),
        pytest.param((0.02, 0.0), 0.01, 0.02, id="a neighbour that gets nothing stays as it was"),
        pytest.param((0.0, 0.02), 0.01, 0.0, id="air that only leaves is replaced from outdoors"),
        pytest.param((0.0, 0.0), 0.01, 0.0, id="no air, no matter"),
    ],
)
def test_a_neighbour_adds_what_its_own_leaks_carry_off(received, b2, expected):
    two = paths([True, False], [0.05, b2], received, SWAP)

    assert added(two)[0] == pytest.approx(expected, abs=1e-9)


def test_a_space_that_stands_for_three_loses_three_times_as_much():
    two = paths([True, False], [0.05, 0.02], [0.02, 0.02], SWAP, times=[3.0, 1.0])

    assert added(two)[0] == pytest.approx(0.03)
    assert two.drawn_kg_s()[0] == pytest.approx(0.06)


def test_zones_behind_zones_agree_with_a_slow_integration_of_all_of_them():
    # Four zones, two of them humidified. Reference: each zone's own water balance, in steps of
    # 10 s until nothing changes, with the space held one unit above its baseline.
    draw = np.random.default_rng(20261125)
    share = draw.uniform(0.0, 1.0, (4, 4))
    np.fill_diagonal(share, 0.0)
    share /= share.sum(axis=1, keepdims=True)
    outdoor, received = draw.uniform(0.005, 0.05, 4), draw.uniform(0.005, 0.05, 4)
    found = paths([True, False, True, False], outdoor, received, share)
    delta = np.array([1.0, 0.0, 1.0, 0.0])
    for _ in range(20_000):
        flow = received * (share @ delta - delta) - outdoor * delta
        delta[[1, 3]] += 10.0 / 200.0 * flow[[1, 3]]
    lost = -(received * (share @ delta - delta))[[0, 2]].sum()

    assert added(found)[0] == pytest.approx(lost, rel=1e-9)


def test_a_zone_held_alike_gives_back_what_it_takes_and_no_more():
    # Two zones that swap 0.02 kg/s, both held: each loses its own leaks and the swap, and
    # receives the swap. By hand.
    two = paths([True, False], [0.05, 0.03], [0.02, 0.02], SWAP, alike=[False, True])

    loss, flow = two.couplings_kg_s()

    assert loss[:, 0] == pytest.approx([0.07, 0.05])
    assert flow[:, :, 0] == pytest.approx(np.array([[0.0, 0.02], [0.02, 0.0]]))


def test_held_zones_are_coupled_through_those_that_are_not():
    # Five zones: the space is two of them, one is held alike, two follow. Reference as above, with
    # the space held one unit above its baseline and the other zone two.
    draw = np.random.default_rng(20261126)
    share = draw.uniform(0.0, 1.0, (5, 5))
    np.fill_diagonal(share, 0.0)
    share /= share.sum(axis=1, keepdims=True)
    times = np.array([1.0, 1.0, 2.0, 3.0, 1.0])
    outdoor, received = draw.uniform(0.005, 0.05, 5), draw.uniform(0.005, 0.05, 5)
    found = paths(
        [True, False, True, False, False],
        outdoor,
        received,
        share,
        times,
        alike=[False, False, False, True, False],
    )
    delta = np.array([1.0, 0.0, 1.0, 2.0, 0.0])
    for _ in range(20_000):
        flow = received * (share @ delta - delta) - outdoor * delta
        delta[[1, 4]] += 10.0 / 200.0 * flow[[1, 4]]
    lost = -times * (received * (share @ delta - delta) - outdoor * delta)

    loss, flow = found.couplings_kg_s()

    space, other = loss[:, 0] * [1.0, 2.0] - flow[:, :, 0] @ [1.0, 2.0]
    assert space == pytest.approx(lost[[0, 2]].sum(), rel=1e-9)
    assert other == pytest.approx(lost[3], rel=1e-9)


def test_many_steps_are_solved_as_each_by_itself():
    draw = np.random.default_rng(7)
    n_steps = 4_500
    outdoor, received = draw.uniform(0.0, 0.05, (2, 3, n_steps))
    share = np.array([[0.0, 0.5, 0.5], [1.0, 0.0, 0.0], [0.2, 0.8, 0.0]])
    chosen = np.array([True, False, False])
    many = added(
        Paths(
            chosen=chosen,
            alike=np.zeros(3, np.bool_),
            times=np.ones(3),
            outdoor_kg_s=outdoor,
            received_kg_s=received,
            share=share,
        )
    )

    for i in (0, 1_999, 2_000, 4_499):
        one = added(paths(chosen, outdoor[:, i], received[:, i], share))[0]
        assert many[i] == pytest.approx(one, rel=1e-12)


def test_what_is_brought_is_the_sum_of_each_zone_s_balance():
    # LIVING 8 g/kg, cellar 10 g/kg, outdoors 2 g/kg, by hand:
    # 0.05·(2 − 8) + 0.02·(10 − 8) = −0.26 g/s.
    two = paths([True, False], [0.05, 0.02], [0.02, 0.01], SWAP)
    w = np.array([[8e-3], [10e-3]])

    assert two.brought_kg_s(w, np.array([2e-3]))[0] == pytest.approx(-0.26e-3)


def test_the_effectiveness_of_a_recovery_is_found_through_bypass_and_noise():
    draw = np.random.default_rng(11)
    offered = draw.normal(0.0, 1e-4, 8760)
    active = draw.choice([0.0, 0.5, 1.0], 8760)
    recovered = 0.55 * offered * active + draw.normal(0.0, 1e-7, 8760)

    found = effectiveness(recovered, offered, active)

    np.testing.assert_allclose(found, 0.55 * active, rtol=1e-3)


@pytest.mark.parametrize(
    ("recovered", "offered", "expected"),
    [
        pytest.param(2e-4, 1e-4, 1.0, id="more than is offered: all"),
        pytest.param(-1e-4, 1e-4, 0.0, id="the wrong way: none"),
        pytest.param(1e-4, 0.0, 0.0, id="nothing is offered: none"),
    ],
)
def test_an_effectiveness_stays_between_none_and_all(recovered, offered, expected):
    found = effectiveness(np.array([recovered]), np.array([offered]), np.ones(1))

    assert found == pytest.approx([expected])
