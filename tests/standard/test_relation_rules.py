"""What a house's rules without code say of a side with a dead channel, through the whole command."""

import pytest

from qc import api
from qc.testing import signals
from qc.testing.deliveries import Sent, deliver

RATE = 48_000
RULES = {
    "house.balance": "measure: stereo.balance, at_most: {fail: 3 dB, source: practice}, "
    "at_least: {fail: -3 dB, source: practice}",
    "house.balance-10s": "measure: stereo.balance_10s, at_most: {fail: 6 dB, source: practice}, "
    "at_least: {fail: -6 dB, source: practice}",
    "house.width": "measure: stereo.correlation, at_least: {fail: 0.1, source: practice}",
    "house.width-400ms": "measure: stereo.correlation_min, at_least: {fail: 0.1, source: practice}",
    "house.bass": "measure: stereo.low_correlation, at_least: {fail: 0.1, source: practice}",
    "house.dead": "measure: programme.dead_longest, at_most: {fail: 1 s, source: practice}",
}


@pytest.fixture(scope="module")
def ruleset(tmp_path_factory):
    path = tmp_path_factory.mktemp("rules") / "house.yaml"
    words = "why: It is the house's own., remedy: Ask for the master again."
    measures = "".join(f"  {name}: {{{rule}, {words}}}\n" for name, rule in RULES.items())
    path.write_text(
        f"schema: 1\nname: house\nversion: 1.0.0\nextends: disc-12in-33@2.0.0\nmeasures:\n{measures}", encoding="utf-8"
    )
    return str(path)


def noise():
    """Pink noise, the same in both channels but for a little."""
    return signals.pink_noise(12.0, RATE, 0.05) + signals.pink_noise(12.0, RATE, 0.01, channels="apart", seed=2)


def outcomes(tmp_path, ruleset, x):
    report = api.check(deliver(tmp_path, {"A": Sent(x, rate=RATE)}), api.Options(ruleset=ruleset, workers=1))
    return {result.check: result.outcome for result in report.results if result.check in RULES}


def test_no_rule_fails_on_a_side_with_good_channels(tmp_path, ruleset):
    assert outcomes(tmp_path, ruleset, noise()) == dict.fromkeys(RULES, "pass")


@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("direct", [0.0, 0.01])
def test_every_rule_fails_on_a_side_with_a_dead_channel(tmp_path, ruleset, channel, direct):
    x = noise()
    x[channel] = direct
    assert outcomes(tmp_path, ruleset, x) == dict.fromkeys(RULES, "fail")
