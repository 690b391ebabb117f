"""Positions on a spiral: closed forms of an even pitch, and from each kind of position to the others and back."""

import numpy as np
import pytest

from qc.groove.figures.curves import demanded
from qc.groove.geometry.cut import Cutting
from qc.groove.geometry.position import SpiralPositions
from support.by_hand import CHAIN, TURN, UM, envelopes, side, swinging

PITCH = 69.0 * UM  # w0 + land where nothing is cut (groove model, 6)
OUTER = CHAIN.disc.outer / 2.0
SECONDS = (0.0, 1e-4, 0.9, 1.8, 7.77, 35.9, 36.0)


def still(sectors=36 * 75):
    return Cutting(side(envelopes(sectors)), 0.0, "normal")


def uneven():
    """A side that swings now and then, so that every turn has a pitch of its own."""
    swings = 40.0 * UM * np.clip(np.sin(np.arange(4_000) / 97.0), 0.0, 1.0)
    return Cutting(side(envelopes(4_000, **swinging(swings))), 0.0, "normal")


@pytest.mark.parametrize("of", [SpiralPositions.as_cut, SpiralPositions.least], ids=["as cut", "least"])
@pytest.mark.parametrize("second", SECONDS)
def test_with_an_even_pitch_the_radius_falls_linearly_with_time(of, second):
    spiral = of(still())
    radius = OUTER - PITCH * second / 1.8  # 1.8 s a turn at 33 1/3
    assert spiral.radius_at(second) == pytest.approx(radius, abs=1e-12)
    inside = max(radius, spiral.last_radius)  # but for rounding, at the very end
    assert spiral.second_at(inside) == pytest.approx(second, abs=1e-6)


@pytest.mark.parametrize(
    ("turn", "angle", "second"), [(1, 0.0, 0.0), (1, 120.0, 0.6), (2, 0.0, 1.8), (20, 270.0, 35.55)]
)
def test_a_turn_takes_a_minute_over_the_speed_and_an_angle_its_part_of_it(turn, angle, second):
    spiral = SpiralPositions.as_cut(still())
    assert spiral.second_of(turn, angle) == pytest.approx(second)
    found, at = spiral.turn_at(second)
    assert (found, at) == (turn, pytest.approx(angle, abs=1e-6))


def test_the_last_turn_is_where_the_side_ends():
    assert SpiralPositions.as_cut(still()).last_turn == (20, 360.0)
    turn, angle = SpiralPositions.as_cut(still(TURN + 45)).last_turn
    assert (turn, angle) == (2, pytest.approx(120.0))


def test_from_each_kind_of_position_there_is_a_way_back_on_an_uneven_spiral():
    spiral = SpiralPositions.as_cut(uneven())
    assert np.ptp(np.diff(spiral.radius)) > 0.2 * PITCH / TURN  # it is uneven
    for second in np.linspace(spiral.start_s, spiral.end_s, 271):
        assert spiral.second_at(spiral.radius_at(second)) == pytest.approx(second, abs=1e-6)
        assert spiral.second_of(*spiral.turn_at(second)) == pytest.approx(second, abs=1e-9)


def test_the_least_possible_spiral_is_the_plain_formula_of_the_groove_model():
    """adv[i] = max(0, P[i] - sum(adv[i-N+1 .. i-1])), base before the start (groove model, 3)."""
    cutting = uneven()
    wanted = demanded(cutting)
    wanted = np.maximum(wanted, np.append(wanted[1:], wanted[-1]))
    gone = [PITCH / TURN] * TURN
    for demand in wanted:
        gone.append(max(0.0, demand - sum(gone[-(TURN - 1) :])))
    least = SpiralPositions.least(cutting)
    assert least.radius == pytest.approx(OUTER - np.cumsum([0.0, *gone[TURN:]]), abs=1e-12)
    assert OUTER - least.last_radius == pytest.approx(cutting.travel_least, abs=1e-12)
    assert least.last_radius > SpiralPositions.as_cut(cutting).last_radius


def test_a_radius_that_the_spiral_never_reaches_has_no_second():
    spiral = SpiralPositions.as_cut(still())
    assert spiral.second_at(spiral.last_radius - 1e-9) is None
    assert spiral.second_at(OUTER + 1e-9) is None
    assert spiral.second_at(spiral.last_radius) == pytest.approx(spiral.end_s)
