"""One wall against closed forms: what the back edges leave of a sine, and a circle on lines, ridges and notches."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from qc.groove.playback.surface import wall_path

BLOCK = 256
STEP = 0.25e-6
"""m from point to point"""


def path(z, tip, back_degrees=90.0 - 1e-7, margin=BLOCK):
    """Path over a wall at even points, without `margin` points at either end."""
    length = np.full(-(-len(z) // BLOCK), STEP)
    return wall_path(z, length, BLOCK, tip, math.radians(back_degrees), margin)


def along(points, margin=0):
    """Places along the groove, m, symmetrical about 0."""
    return (np.arange(points) - points // 2)[margin : points - margin if margin else None] * STEP


@pytest.mark.parametrize("steep", [1.05, 1.5, 2.5])
@pytest.mark.parametrize("back_degrees", [30.0, 45.0, 60.0])
def test_back_edges_leave_the_sine_up_to_the_tangent_and_then_their_own_straight_line(steep, back_degrees):
    """Behind the tangent point the surface is the line of the edge, until that meets the sine before."""
    allowed = math.tan(math.radians(back_degrees)) / math.sqrt(2.0)
    wave, points = 200e-6, 16 * BLOCK
    k = 2.0 * math.pi / wave
    amplitude = steep * allowed / k
    s = along(points)
    tangent = math.acos(1.0 / steep) / k  # after the steepest place, where the slope is the edge's again

    def line(at):
        return amplitude * math.sin(k * tangent) - allowed * (tangent - at)

    meets = brentq(lambda at: amplitude * math.sin(k * at) - line(at), tangent - wave, -math.acos(1.0 / steep) / k)
    found = path(amplitude * np.sin(k * s), 0.0, back_degrees)
    s = along(points, BLOCK)
    phase = (s - meets) % wave  # 0 where the line begins
    expected = np.where(phase < tangent - meets, line(meets + phase), amplitude * np.sin(k * s))
    half_a_step = amplitude * k**2 * STEP**2 / 8.0 + allowed * STEP  # at the tangent, and where the two meet
    inside = (phase > STEP) & (phase < wave - STEP)
    assert found[inside] == pytest.approx(expected[inside], abs=amplitude * k**2 * STEP**2 / 8.0 + 1e-15)
    assert found == pytest.approx(expected, abs=half_a_step)


def test_the_surface_is_the_motion_where_nothing_rises_faster_than_the_edges():
    z = 20e-6 * np.sin(along(12 * BLOCK) / 30e-6)  # slope 0.67 of 0.707
    assert np.array_equal(path(z, 0.0, 45.0), z[BLOCK:-BLOCK])


def refined(radius, slope):
    """A tenth of how far the lowest of the points may lie above the least between them, on a flank; m."""
    return 0.1 * STEP**2 / 8.0 * (1.0 + slope**2) ** 1.5 / radius


@pytest.mark.parametrize("slope", [-2.0, -0.5, 0.0, 0.3, 1.0])
def test_a_circle_on_a_straight_slope_stays_behind_it_by_its_closed_form(slope):
    """R (sqrt(1 + slope^2) - 1), between points as on them."""
    radius, points = 18e-6, 6 * BLOCK
    found = path(slope * along(points), radius)
    expected = slope * along(points, BLOCK) - radius * (math.sqrt(1.0 + slope**2) - 1.0)
    assert found == pytest.approx(expected, abs=refined(radius, slope))


def test_a_circle_rides_over_a_ridge_on_its_own_arc():
    radius, slope, points = 8e-6, 0.6, 6 * BLOCK
    s = along(points, BLOCK)
    found = path(slope * np.abs(along(points)), radius)
    reach = radius * slope / math.sqrt(1.0 + slope**2)  # where the flank takes over
    on_flank = slope * np.abs(s) - radius * (math.sqrt(1.0 + slope**2) - 1.0)
    expected = np.where(np.abs(s) < reach, radius - np.sqrt(np.maximum(radius**2 - s**2, 0.0)), on_flank)
    assert found == pytest.approx(expected, abs=slope * STEP / 4.0)


def test_a_circle_bridges_a_notch_that_is_sharper_than_itself():
    """It rests on both flanks and gets no further out than their closed form allows."""
    radius, slope, points = 8e-6, 0.6, 6 * BLOCK
    s = along(points, BLOCK)
    found = path(-slope * np.abs(along(points)), radius)
    expected = -slope * np.abs(s) - radius * (math.sqrt(1.0 + slope**2) - 1.0)
    assert found == pytest.approx(expected, abs=refined(radius, slope))


def test_a_longer_step_in_a_faster_part_is_taken_from_the_speed_there():
    radius = 18e-6
    step = np.repeat([0.2e-6, 0.4e-6], 4)
    s = np.concatenate([[0.0], np.cumsum(np.repeat(step, BLOCK))[:-1]])
    found = wall_path(0.5 * s, step, BLOCK, radius, math.radians(89.999), BLOCK)
    behind = radius * (math.sqrt(1.25) - 1.0)
    assert (0.5 * s[BLOCK:-BLOCK] - found)[: 2 * BLOCK] == pytest.approx(behind, rel=1e-4)
    assert (0.5 * s[BLOCK:-BLOCK] - found)[-2 * BLOCK :] == pytest.approx(behind, rel=1e-4)
