"""Fingerprints: by where and what a finding is and the order in which it passes, never by words or numbers."""

from __future__ import annotations

from qc.judge.context import SideEvidence
from qc.judge.engine import CheckRunner, judge_side
from qc.model.cutting_chain import Chain
from qc.plugin_api import At, Check, Limit, Model, Quantity


def evidence():
    return SideEvidence("A", Chain(), {})


class One(Model):
    most: Limit = Limit(warn=1.0, unit="dB", source="practice")
    other: Limit = Limit(warn=1.0, unit="dB", source="practice", origin="house.yaml:4")


class Finds(Check[One]):
    id, title, why, how, remedy = "house.own", "t", "w", "h", "Turn it down."
    Limits = One

    def __init__(self, does):
        super().__init__(One())
        self.does = does

    def evaluate(self, ctx):
        return self.does(ctx)


def prints(*seconds, value=3.0, of="it"):
    def does(ctx):
        for second in seconds:
            at = At(start_s=second, end_s=second + 0.1, track=1)
            quantity = Quantity(value=value + second, unit="dB", at=at)
            yield from ctx.hold(quantity, ctx._check.limits.most, op="<=", of=f"{of} at {second}")

    (result,), _ = judge_side([Finds(does)], evidence(), CheckRunner())
    return [one.fingerprint for one in sorted(result.findings, key=lambda one: one.location.start_s)]


def test_fingerprints_hold_no_words_and_no_numbers():
    assert prints(4.0, 9.0, value=3.0, of="it") == prints(4.2, 9.5, value=30.0, of="the level")


def test_equal_findings_are_numbered_in_order_of_time():
    first, second, third = prints(4.0, 9.0, 11.0)
    assert len({first, second, third}) == 3
    assert prints(4.0) == [first]
    assert prints(9.0, 4.0) == [first, second]


def test_findings_of_one_quantity_differ_by_their_field():
    def does(ctx):
        quantity = Quantity(value=1.0, unit="dB")
        for field in (("tracks", 0, "end"), ("tracks", 1, "end"), ("tracks", 1, "end")):
            yield ctx.found("warn", "m", measured=quantity, field=field)

    (result,), _ = judge_side([Finds(does)], evidence(), CheckRunner())
    assert len({one.fingerprint for one in result.findings}) == 3


def test_the_limit_is_recognised_with_one_of_its_grades_removed():
    def by(pick):
        def does(ctx):
            quantity = Quantity(value=3.0, unit="dB", at=At(start_s=4.0, end_s=4.1, track=1))
            yield from ctx.hold(quantity, pick(ctx._check.limits), op="<=", of="it")

        return judge_side([Finds(does)], evidence(), CheckRunner())[0][0].findings[0].fingerprint

    assert by(lambda limits: limits.most) != by(lambda limits: limits.other)
    milder = by(lambda limits: limits.other.model_copy(update={"fail": None, "warn": 0.5}))
    assert milder == by(lambda limits: limits.other)
