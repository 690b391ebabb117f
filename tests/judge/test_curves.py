"""The curves of a plugin: in the pictures with its limits, in the traces as a column; a wrong one is its own error."""

from __future__ import annotations

import csv
import io
import re

import numpy as np
import pytest

from qc import Curve, api
from qc.cli.main import main
from qc.judge.context import SideEvidence
from qc.judge.curves import curves_of
from qc.model.cutting_chain import Chain
from qc.plugin_host.runner import Runner
from qc.testing.deliveries import Sent, deliver
from support.close_turns import NAME, TurnLand, host_of
from support.houses import Houses

RATE = 48_000
LIMITS = 'limits:\n  house.close-turns: {least: {warn: 14 um, fail: 10 um, source: "house: lathe 2"}}\n'


@pytest.fixture(scope="module")
def delivery(tmp_path_factory):
    """Nine turns of a tone that swells."""
    t = np.arange(16 * RATE) / RATE
    x = np.tile(0.02 * t / 16.0 * np.sin(2.0 * np.pi * 200.0 * t), (2, 1))
    return deliver(tmp_path_factory.mktemp("drawn"), {"A": Sent(x, RATE)})


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    houses = Houses(tmp_path_factory.mktemp("house"))
    return str(houses.put_at("house.yaml", "house@1.0.0", LIMITS, "disc-12in-33@3.0.0"))


@pytest.fixture
def written(delivery, house, tmp_path, monkeypatch):
    """Write page and traces with a kind of need; returns the exit code, the page, the rows and the report on stderr."""

    def write(need):
        monkeypatch.setattr(api, "build_host", lambda *_: host_of(need))
        outs = [f"html={tmp_path / 'r.html'}", f"traces={tmp_path / 't.csv'}", f"text={tmp_path / 'r.txt'}"]
        words = [word for out in outs for word in ("--out", out)]
        code = main(["check", str(delivery), "--no-cache", "--ruleset", house, *words])
        rows = list(csv.DictReader(io.StringIO((tmp_path / "t.csv").read_text(encoding="utf-8"), newline="")))
        return code, (tmp_path / "r.html").read_text(encoding="utf-8"), rows

    return write


def with_curve(curve, name=NAME):
    return type("Drawn", (TurnLand,), {"curves": lambda *_: {name: curve}})


def good(values=None):
    values = np.arange(9.0) + 8.0 if values is None else values
    return Curve(values, "um", 0.9, 1.8, "Land of each turn", "least land", least=True)


def test_a_curve_is_drawn_with_its_limits_and_is_a_column_of_the_traces(written):
    code, page, rows = written(with_curve(good()))
    assert code in {0, 1}
    drawing = page[page.index("Side A along time") :]
    assert "Land of each turn, um" in drawing
    assert "least land" in drawing
    after = drawing[drawing.index("Land of each turn, um") :]
    assert {"fail &lt; 10", "warn &lt; 14"} <= set(re.findall(r"(?:fail|warn) &lt; \d+", after))
    column = [float(row[f"{NAME} [um]"]) if row[f"{NAME} [um]"] else np.nan for row in rows]
    middles = np.array([float(row["file second [s]"]) for row in rows]) + 0.5 / 75.0
    np.testing.assert_array_equal(column, [8.0 + int(second / 1.8) for second in middles])  # a value a turn of 1.8 s


def test_curves_of_the_standard_plugin_are_columns_too(written):
    _, page, rows = written(with_curve(good()))
    assert {"loudness.short_term [LUFS]", "stereo.low_correlation [1]"} <= rows[0].keys()
    assert "Loudness, 3 s" in page


def test_a_curve_without_words_has_the_name_of_its_measurement_and_one_that_ends_early_is_empty_there(written):
    _, page, rows = written(with_curve(Curve(np.array([1, 2, 3]), "um", 0.9, 1.8)))
    assert f"{NAME}, um" in page
    assert rows[-1][f"{NAME} [um]"] == ""
    assert rows[0][f"{NAME} [um]"] == "1.0"


WRONG = {
    "a list": (Curve([1.0, 2.0], "um", 0.0, 1.0), "are list, not an array of numbers"),
    "texts": (Curve(np.array(["a", "b"]), "um", 0.0, 1.0), "not an array of numbers"),
    "complex": (Curve(np.array([1j]), "um", 0.0, 1.0), "complex128, not an array of numbers"),
    "two rows": (Curve(np.zeros((2, 3)), "um", 0.0, 1.0), "have the shape (2, 3), not (n,)"),
    "infinite": (Curve(np.array([1.0, np.inf]), "um", 0.0, 1.0), "has an infinite value"),
    "another unit": (Curve(np.zeros(3), "mm", 0.0, 1.0), 'is in "mm", and um was announced'),
    "no unit": (Curve(np.zeros(3), None, 0.0, 1.0), 'is in "None", and um was announced'),
    "no step": (Curve(np.zeros(3), "um", 0.0, 0.0), "step_s of the curve house.turn_land is 0 s and has to be above 0"),
    "no start": (Curve(np.zeros(3), "um", float("nan"), 1.0), "start_s of the curve house.turn_land is not a finite"),
    "no curve": (np.zeros(3), "is a ndarray, not a Curve"),
    "no text": (Curve(np.zeros(3), "um", 0.0, 1.0, 7), "title and label of the curve house.turn_land are no texts"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_curve_is_the_error_of_its_plugin(what, delivery, house):
    curve, sentence = WRONG[what]
    checked = api.checked(delivery, api.Options(ruleset=house), host_of(with_curve(curve)), draws=True)
    (failure,) = checked.undrawn
    assert (failure.plugin, failure.stage, failure.side) == ("house", "house.turn-land", "A")
    assert sentence in failure.message
    assert failure in checked.report.plugin_failures
    assert NAME not in checked.evidence.curves["A"]
    assert {"loudness.short_term", "stereo.low_correlation"} <= checked.evidence.curves["A"].keys()


def test_a_curve_cannot_take_the_name_of_another_measurement_or_a_name_that_is_none(delivery, house):
    names = {
        "groove.land_min": 'its curve "groove.land_min" has the name of another measurement',
        "audio.duration": 'its curve "audio.duration" has the name of another measurement',
        "groove.travel": 'its curve "groove.travel" has the name of another measurement',
        "loudness.integrated": 'its curve "loudness.integrated" has the name of another measurement',
        "=cmd()": 'a curve cannot be called "=cmd()"',
    }
    for name, sentence in names.items():
        checked = api.checked(delivery, api.Options(ruleset=house), host_of(with_curve(good(), name)), draws=True)
        (failure,) = checked.undrawn
        assert sentence in failure.message
        assert failure.plugin == "house"


def test_the_name_of_a_curve_is_announced(delivery, house):
    hints = {
        "house.turn_lnad": 'did you mean "house.turn_land"?',
        "another.name": 'name its unit in "publishes", or in "curve_units"',
    }
    for name, hint in hints.items():
        kind = type("Drawn", (TurnLand,), {"curves": misspelt(name)})
        checked = api.checked(delivery, api.Options(ruleset=house), host_of(kind), draws=True)
        (failure,) = checked.undrawn
        assert failure.plugin == "house"
        assert f'its curve "{name}" was not announced; {hint} (' in failure.message
        assert failure.message.endswith(f"test_curves.py:{misspelt.__code__.co_firstlineno + 1})")
    other = type("Drawn", (TurnLand,), {"curves": misspelt("house.own"), "curve_units": {"house.own": "um"}})
    checked = api.checked(delivery, api.Options(ruleset=house), host_of(other), draws=True)
    assert (checked.undrawn, "house.own" in checked.evidence.curves["A"]) == ((), True)


def misspelt(name):
    def curves(self, result):
        return {name: good()}

    return curves


def test_of_two_curves_of_one_name_the_first_is_drawn_and_the_other_is_an_error():
    first, second = (with_curve(good(), "house.other") for _ in range(2))
    first.curve_units = second.curve_units = {"house.other": "um"}
    side = SideEvidence(side="A", chain=Chain(), declared={}, results={first: None, second: None})
    curves, broken = curves_of(side, (), Runner())
    assert list(curves) == ["house.other"]
    assert list(broken) == [second]
    assert 'its curve "house.other" has the name of another measurement' in broken[second]


def test_the_command_ends_with_3_for_a_wrong_curve_and_draws_the_others(written, capsys):
    code, page, rows = written(with_curve(Curve(np.zeros((2, 3)), "um", 0.0, 1.0)))
    assert code == 3
    assert "house" in capsys.readouterr().err
    assert "Loudness, 3 s" in page
    assert f"{NAME} [um]" not in rows[0]


def test_no_curve_can_be_written_by_a_format(delivery, house):
    values = np.arange(9.0)
    checked = api.checked(delivery, api.Options(ruleset=house), host_of(with_curve(good(values))), draws=True)
    drawn = checked.evidence.curves["A"][NAME].values
    assert not np.shares_memory(drawn, values)
    with pytest.raises(ValueError, match="WRITEABLE"):
        drawn.flags.writeable = True
