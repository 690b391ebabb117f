"""Which step of a pass comes next, held against what a pass may do at all, whoever takes the steps and when."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.audio.pipeline.steps import AHEAD, READ, Steps

pytestmark = pytest.mark.filterwarnings("error")


@given(
    st.integers(0, 9), st.integers(0, 3), st.integers(0, 2), st.integers(AHEAD + 1, 5), st.integers(1, 4), st.data()
)  # fmt: skip
def test_every_line_hears_every_block_once_in_order_whoever_is_slow(blocks, alone, pairs, ring, workers, data):
    """Lines by themselves, and pairs of which one hears what the other made; steps end in any order."""
    lines = alone + 2 * pairs
    behind = {alone + k: alone + pairs + k for k in range(pairs)}
    steps = Steps(blocks, lines, behind, ring)
    heard = [0] * lines
    held = set()
    under_way = []
    while steps.left:
        while len(under_way) < workers and steps.ready:
            under_way.append(steps.take())
        assert len(set(under_way)) == len(under_way)  # no line, and no reading, is in two hands
        assert under_way  # else all would wait for ever
        step = under_way.pop(data.draw(st.integers(0, len(under_way) - 1)))
        if step == READ:
            held.add(steps.read)
            steps.was_read()
        else:
            block = steps.next[step]
            assert block == heard[step]
            assert block in held or block == blocks
            if step in behind:
                assert heard[behind[step]] > block
            heard[step] += 1
            held -= set(steps.was_heard(step))
        if lines:
            assert len(held) <= ring
        for listener, made in behind.items():
            assert heard[made] <= heard[listener] + AHEAD
    assert heard == [blocks + 1] * lines  # and the end
    assert steps.read == blocks
    assert steps.take() is None
    assert not under_way


def test_reading_goes_first_while_the_foremost_line_has_little_before_it():
    steps = Steps(9, 1, {}, 4)
    order = []
    for _ in range(8):
        step = steps.take()
        order.append(step)
        steps.was_read() if step == READ else steps.was_heard(step)
    assert order == [READ] * AHEAD + [0, READ] * 3


def test_else_the_line_that_is_furthest_behind():
    steps = Steps(9, 2, {}, 4)
    steps.take(), steps.was_read(), steps.take(), steps.was_read()
    assert (steps.take(), steps.was_heard(0)) == (0, range(0))
    steps.take(), steps.was_read()
    assert (steps.take(), steps.was_heard(1)) == (1, range(1))
