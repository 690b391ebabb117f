"""The day is the caller's: the same delivery on the last day of a waiver and on the day after."""

import datetime as dt

import pytest

from qc import api
from qc.model.errors import UsageError
from qc.testing.deliveries import Sent, deliver
from support.signals import both, tone

LAST = dt.date(2026, 6, 15)
CHECK = "layout.lead-in-silence"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    waivers = [{"check": CHECK, "owner": "M. Reed", "reason": "it starts at once", "expires": LAST.isoformat()}]
    sent = Sent(0.2 * both(tone(400.0, 1.0, 48_000)), more={"waivers": waivers})
    return deliver(tmp_path_factory.mktemp("days") / "delivery", {"A": sent})


def outcome(folder, today):
    report = api.check(folder, api.Options(today=today))
    (waiver,) = report.waivers
    return next(one.outcome for one in report.results if one.check == CHECK), waiver.state


def test_a_waiver_is_valid_on_its_last_day(folder):
    assert outcome(folder, LAST) == ("waived", "used")
    assert outcome(folder, LAST + dt.timedelta(days=1)) == ("warn", "expired")


def test_waivers_that_expire_need_a_day(folder):
    with pytest.raises(UsageError, match="today's date is not known"):
        api.check(folder)
