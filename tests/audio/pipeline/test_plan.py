"""What a run measures: the closure of all needs, each once, and groups of analyses that share no tap."""

from dataclasses import dataclass, field
from typing import ClassVar

import pytest

from qc.audio.pipeline.plan import lineage, plan
from qc.plugin_api import Analysis, Derived, Tap


@dataclass(frozen=True)
class Band(Tap):
    name: str
    of: Tap | None = None

    def base(self):
        return self.of

    def start(self, stream):
        raise NotImplementedError


@dataclass(frozen=True)
class Hears(Analysis):
    name: str
    through: tuple = ()
    price: float = field(default=10.0, compare=False)
    id: ClassVar[str] = "test.hears"

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls("")

    @property
    def cost(self):
        return self.price

    def taps(self):
        return self.through

    def start(self, stream):
        raise NotImplementedError


@dataclass(frozen=True)
class Works(Derived):
    name: str
    id: ClassVar[str] = "test.works"
    after: ClassVar[dict] = {}

    @classmethod
    def of(cls, chain):  # noqa: ARG003
        return cls("")

    def needs(self):
        return self.after[self.name]

    def work(self, measured):
        raise NotImplementedError


@pytest.fixture
def after(monkeypatch):
    """What each derived need waits for, by name."""
    waits = {}
    monkeypatch.setattr(Works, "after", waits)
    return waits


def test_what_a_need_needs_is_planned_before_it(after):
    a, b = Hears("a"), Hears("b")
    after.update(top=(Works("middle"), a), middle=(b, Works("low")), low=(b,))
    planned = plan([Works("top")])
    assert set(planned.analyses) == {a, b}
    assert planned.derived == (Works("low"), Works("middle"), Works("top"))


def test_equal_needs_are_one(after):
    after.update(one=(Hears("a"),), two=(Hears("a"), Works("one")))
    planned = plan([Hears("a"), Works("two"), Works("one"), Hears("a"), Works("two")])
    assert planned.analyses == (Hears("a"),)
    assert planned.derived == (Works("one"), Works("two"))
    assert planned.groups == ((Hears("a"),),)


def test_other_fields_are_another_need():
    assert len(plan([Hears("a"), Hears("b")]).analyses) == 2


@pytest.mark.parametrize("ring", [1, 2, 5])
def test_needs_that_wait_for_each_other_are_refused(after, ring):
    after.update({str(k): (Hears("a"), Works(str((k + 1) % ring))) for k in range(ring)})
    with pytest.raises(ValueError, match=r"^test\.works needs itself by way of test\.works"):
        plan([Works("0")])


def test_a_need_asked_for_twice_on_different_ways_is_no_ring(after):
    after.update(top=(Works("left"), Works("right")), left=(Works("low"),), right=(Works("low"),), low=())
    assert plan([Works("top")]).derived == tuple(map(Works, ("low", "left", "right", "top")))


def test_nothing_is_a_plan():
    assert plan([]).groups == ()


def test_lineage_goes_down_to_the_source():
    low = Band("low")
    assert lineage(Band("top", Band("middle", low))) == (Band("top", Band("middle", low)), Band("middle", low), low)


def test_groups_share_no_tap():
    low, high = Band("low"), Band("high")
    one, two = Hears("one", (low,)), Hears("two", (high,))
    both, none = Hears("both", (Band("narrow", low), Band("x"))), Hears("none")
    groups = {frozenset(group) for group in plan([one, none, two, both]).groups}
    assert groups == {frozenset({one, both}), frozenset({two}), frozenset({none})}


def test_one_analysis_joins_groups_that_had_nothing_in_common():
    taps = [Band(str(k)) for k in range(4)]
    alone = [Hears(str(k), (tap,)) for k, tap in enumerate(taps)]
    bridge = Hears("bridge", (Band("on 1", taps[1]), taps[3]))
    groups = plan([*alone, bridge]).groups
    assert sorted(map(len, groups)) == [1, 1, 3]
    heard = [frozenset(t for a in group for tap in a.taps() for t in lineage(tap)) for group in groups]
    assert all(not one & other for i, one in enumerate(heard) for other in heard[i + 1 :])
    assert sorted((a for group in groups for a in group), key=str) == sorted([*alone, bridge], key=str)


def test_the_costliest_group_comes_first():
    shared = Band("shared")
    needs = [Hears("c", (), 25.0), Hears("a", (shared,), 20.0), Hears("b", (shared,), 10.0), Hears("d", (), 6.0)]
    assert [sum(a.cost for a in group) for group in plan(needs).groups] == [30.0, 25.0, 6.0]


def test_the_same_needs_give_the_same_plan():
    needs = [Hears(str(k), (Band(str(k % 3)),)) for k in range(9)]
    assert plan(needs) == plan(list(needs))


def test_light_groups_without_a_tap_share_a_thread_up_to_the_cost_of_the_costliest():
    heavy, light = Hears("heavy"), [Hears(f"light {cost}", (), cost) for cost in (3.0, 4.0, 2.0, 2.5)]
    groups = plan([*light, heavy]).groups
    assert groups[0] == (heavy,)
    assert sorted(sum(need.cost for need in group) for group in groups[1:]) == [2.0, 9.5]
    assert {need for group in groups for need in group} == {heavy, *light}
