"""`sidegate where`: a closed form through the whole command, its numbers against the traces, and what it refuses."""

from __future__ import annotations

import csv
import json
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from qc.report.figures import png
from qc.schemas.build import generated
from qc.testing.deliveries import Sent, deliver
from support.command import called, one_sentence
from support.png import pixels

SCHEMA = Draft202012Validator(json.loads(generated("where")))
OUTER, PITCH = 146.3, 0.069  # mm: 292.6 / 2, and 56 + 13 um
SECONDS = 24.0


@pytest.fixture(scope="module")
def quiet(warm, tmp_path_factory):
    """A side of silence from 2.0 s on, in two tracks that run into each other, with a tone of 10 ms at its end."""
    folder, rate = tmp_path_factory.mktemp("where"), 44_100
    x = np.zeros((2, round(SECONDS * rate)))
    tone = slice(round(23.98 * rate), round(23.99 * rate))
    x[:, tone] = 10.0 ** (-50.0 / 20.0) * np.sin(2.0 * np.pi * 1_000.0 * np.arange(x[0, tone].size) / rate)
    sent = Sent(x, rate, tracks=[(2.0, 11.0), (11.0, 24.0)], more={"cut_level": "-3 dB"})
    return deliver(folder / "delivery", {"A": sent}), folder / "store"


def found(delivery, *words):
    """Run the command; return its report, which the schema holds."""
    path, store = delivery
    words = ["where", str(path), "--side", "A", *words, "--out", "json=-", "--cache", str(store)]
    code, out, err = called(words)
    assert code == 0, err
    report = json.loads(out)
    SCHEMA.validate(report)
    return report


def position(second):
    """The place of a second on the silent side, by hand: 69 um and 1.8 s a turn, from 2.0 s on."""
    turns = (second - 2.0) / 1.8
    track = (2, second - 11.0) if second >= 11.0 else (1, second - 2.0)
    return {
        "time_s": second, "radius_mm": OUTER - PITCH * turns,
        "turn": 1 + int(turns), "angle_deg": 360.0 * (turns % 1.0),
        "track": track[0], "track_time_s": track[1],
    }  # fmt: skip


def close(place, second):
    assert place == {key: pytest.approx(value, abs=1e-5) for key, value in position(second).items()}


ASKED = {  # at 14.3 s: 6 5/6 turns from the beginning
    "a radius": (["--radius", f"{OUTER - PITCH * 41 / 6:.6f}mm"], "radius_mm"),
    "a time": (["--time", "0:14.3"], "time_s"),
    "a turn": (["--turn", "7", "--angle", "300deg"], "turn"),
}


@pytest.mark.parametrize(("words", "key"), ASKED.values(), ids=ASKED)
def test_in_silence_a_place_is_the_closed_form_whichever_way_it_is_asked_for(quiet, words, key):
    report = found(quiet, *words)
    close(report["place"], 14.3)
    close(report["least_travel"], 14.3)  # nothing can lie closer than where nothing is cut
    assert {name for name, value in report["asked"].items() if value is not None} == {key} | (
        {"angle_deg"} if key == "turn" else set()
    )
    assert [row["away"] for row in report["neighbours"]] == [-1, 1]
    close(report["neighbours"][0]["position"], 14.3 - 1.8)
    close(report["neighbours"][1]["position"], 14.3 + 1.8)


def test_the_groove_in_silence_is_as_wide_and_as_far_from_its_neighbours_as_the_chain_says(quiet):
    groove = found(quiet, "--time", "9")["groove"]
    assert groove["top_width_um"] == pytest.approx(56.0, abs=0.01)
    assert groove["depth_um"] == pytest.approx(28.0, abs=0.01)
    assert groove["land_before_um"] == groove["land_after_um"] == pytest.approx(13.0, abs=0.01)
    assert (groove["lateral_slope"], groove["level_db"]) == (0.0, None)


def test_the_first_and_the_last_turn_have_one_neighbour(quiet):
    first, last = found(quiet, "--time", "2.5"), found(quiet, "--time", "23.5")
    assert [row["away"] for row in first["neighbours"]] == [1]
    assert [row["away"] for row in last["neighbours"]] == [-1]
    assert (first["groove"]["land_before_um"], last["groove"]["land_after_um"]) == (None, None)


@pytest.fixture(scope="module")
def loud(warm, tmp_path_factory):
    """Five seconds of noise that swells and falls, wider on one side, at a level of its own."""
    folder, rate = tmp_path_factory.mktemp("loud"), 48_000
    rng, n = np.random.default_rng(7), 5 * rate
    hz = np.fft.rfftfreq(n, 1.0 / rate)
    x = np.fft.irfft(np.fft.rfft(rng.standard_normal((2, n))) * (hz > 60.0) * (hz < 3_000.0), n)
    x *= 0.05 * (1.2 + np.sin(2.0 * np.pi * 0.7 * np.arange(n) / rate))
    return deliver(folder / "delivery", {"A": Sent(x, rate)}), folder / "store"


COLUMNS = {
    "top_width_um": "top width [um]", "depth_um": "depth [um]", "land_before_um": "land [um]",
    "lateral_slope": "lateral slope [1]", "vertical_slope": "vertical slope [1]", "tracing_ratio": "tracing ratio [1]",
    "wall_velocity_cm_s": "wall velocity [cm/s]",
}  # fmt: skip


def test_the_groove_is_that_of_the_traces_at_the_level_the_side_is_judged_at(loud, tmp_path):
    path, store = loud
    words = ["--out", f"traces={tmp_path / 't.csv'}", "--out", f"json={tmp_path / 'r.json'}", "--cache", str(store)]
    assert called(["check", str(path), *words])[0] in {0, 1}
    judged = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))["sides"][0]["levels"]["judged"]["value"]
    with (tmp_path / "t.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    report = found(loud, "--time", "3.005")
    row, after = rows[225], rows[225 + 135]  # the sectors of 3.000 s and a turn later
    assert float(row["file second [s]"]) == pytest.approx(3.0)
    assert report["level_db"] == judged
    for name, column in COLUMNS.items():
        assert report["groove"][name] == pytest.approx(float(row[column]), rel=1e-4), name
    assert report["groove"]["land_after_um"] == pytest.approx(float(after["land [um]"]), rel=1e-4)
    before = float(rows[224]["radius [mm]"])  # the radius after the sector before, then evenly through this one
    radius = before + 0.375 * (float(row["radius [mm]"]) - before)
    assert report["place"]["radius_mm"] == pytest.approx(radius, abs=1e-4)
    level = 20.0 * np.log10(report["groove"]["wall_velocity_cm_s"] * np.sqrt(2.0) / 5.0)  # L-5, L-6
    assert report["groove"]["level_db"] == pytest.approx(level)


def test_there_and_back_again_by_radius_time_and_turn(loud):
    there = found(loud, "--time", "3.21")["place"]
    for words in (
        ["--radius", f"{there['radius_mm']!r}mm"],
        ["--turn", str(there["turn"]), "--angle", f"{there['angle_deg']!r}deg"],
    ):
        assert found(loud, *words)["place"] == {key: pytest.approx(value, abs=1e-6) for key, value in there.items()}


def test_less_travel_reaches_a_radius_later_and_has_a_second_further_out(loud):
    level = ["--level", "0 dB"]
    by_time = found(loud, "--time", "4", *level)
    radius = by_time["place"]["radius_mm"]
    by_radius = found(loud, "--radius", f"{radius!r}mm", *level)
    assert by_time["least_travel"]["time_s"] == by_time["place"]["time_s"]
    assert by_time["least_travel"]["radius_mm"] > by_time["place"]["radius_mm"]
    assert by_radius["least_travel"]["radius_mm"] == pytest.approx(radius)
    assert by_radius["least_travel"]["time_s"] > by_radius["place"]["time_s"]
    last = found(loud, "--time", "5", *level)["place"]["radius_mm"]
    assert found(loud, "--radius", f"{last}mm", *level)["least_travel"] is None


def test_a_lower_level_has_the_second_further_out(loud):
    high, low = found(loud, "--time", "4", "--level", "0 dB"), found(loud, "--time", "4", "--level", "-9 dB")
    assert (high["level_db"], low["level_db"]) == (0.0, -9.0)
    assert low["place"]["radius_mm"] > high["place"]["radius_mm"]


def test_the_screen_has_the_place_its_neighbours_and_how_exact_they_are(loud):
    path, store = loud
    code, out, _ = called(["where", str(path), "--side", "A", "--time", "2.5", "--cache", str(store), "--ascii"])
    screen = out.decode("ascii")
    assert code == 0
    assert screen.splitlines()[0] == "SIDE A at 0:02.500: Quiet Harbour"
    for words in ("the turn before", "the turn after", "0:02.500", "0:00.700", "0:04.300", "140.0 deg", "least travel"):
        assert words in screen.replace("least possible travel", "least travel")
    assert "which a disc does not show" in " ".join(screen.split())


def test_the_picture_shows_the_turn_and_its_neighbours(loud, tmp_path):
    path, store = loud
    outs = [word for kind in ("svg", "png") for word in ("--out", f"{kind}={tmp_path / f'place.{kind}'}")]
    words = ["where", str(path), "--side", "A", "--time", "2.5", "--level", "-6 dB", "--cache", str(store)]
    code, _, err = called([*words, *outs])
    assert code == 0, err
    drawn = ET.fromstring((tmp_path / "place.svg").read_text(encoding="utf-8"))
    assert any("The groove from above at 0:02." in "".join(part.itertext()) for part in drawn.iter())
    assert sum(part.get("class") == "bottom" for part in drawn.iter()) == 3  # the line each groove ends in
    groove = found(loud, "--time", "2.5", "--level", "-6 dB")["groove"]
    (narrowest,) = re.findall(r"It is narrowest with ([0-9.]+) um", (tmp_path / "place.svg").read_text("utf-8"))
    assert groove["top_width_um"] - 0.06 <= float(narrowest) <= 2.0 * groove["depth_um"]
    assert pixels((tmp_path / "place.png").read_bytes()).std() > 0.0


NOWHERE = {
    "30 mm lies outside the groove of side A, which runs from 146.30 to": ("--radius", "30mm"),
    "146.4 mm lies outside the groove of side A": ("--radius", "146.4mm"),
    "lies outside the programme of side A, which is cut from 0:00.000 to 0:02.000": ("--time", "9:43"),
    "which is turn 2 and ends at 40.0 deg": ("--turn", "2", "--angle", "41deg"),
    "turn 9 at 0 deg lies beyond the last one": ("--turn", "9"),
}
REFUSED = {
    "is no radius": ("--radius", "71.6"),
    '0..." is no radius': ("--radius", f"71.6{95 * '0'}mm"),
    "is no turn": ("--turn", "0"),
    "is no angle in a turn": ("--turn", "1", "--angle", "360deg"),
    "an angle belongs to a turn": ("--time", "1", "--angle", "90deg"),
    "is not a time": ("--time", "1:99"),
    "no place is given": (),
    "--radius and --time are given": ("--radius", "70mm", "--time", "1"),
    "no such side": ("--time", "1", "--side", "C"),
    "is no level": ("--time", "1", "--level", "loud"),
    "there is no format": ("--time", "1", "--out", "html=-"),
    "belongs to the delivery": ("--time", "1", "--out", "svg=side-a.wav"),
}


@pytest.mark.parametrize(("sentence", "words"), NOWHERE.items(), ids=NOWHERE)
def test_a_place_beyond_the_side_is_refused_in_one_sentence(bench, sentence, words):
    bench.deliver()
    ran = bench.run("where", bench.folder, "--side", "A", "--workers", "1", *words)
    assert (ran.code, ran.out, ran.left) == (2, b"", [])
    reading, refused = ran.sentences
    assert reading.startswith("sidegate: reading side A")
    assert sentence in refused


@pytest.mark.parametrize(("sentence", "words"), REFUSED.items(), ids=REFUSED)
def test_what_is_no_place_is_one_sentence(bench, sentence, words):
    bench.deliver()
    assert sentence in one_sentence(bench.run("where", bench.folder, "--side", "A", *words))


def test_a_side_that_cannot_be_decoded_is_refused(bench):
    bench.deliver()
    (bench.folder / "side-a.wav").write_bytes(b"no sound")
    ran = bench.run("where", bench.folder, "--side", "A", "--time", "1")
    assert "the groove of side A is unknown" in one_sentence(ran)


def test_without_what_draws_it_a_png_is_refused_in_one_sentence(bench, monkeypatch):
    bench.deliver()
    monkeypatch.setattr(png, "available", lambda: False)
    ran = bench.run("where", bench.folder, "--side", "A", "--time", "1", "--out", f"png={bench.output / 'p.png'}")
    assert (ran.code, ran.left) == (2, [])
    assert "pip install 'sidegate[png]'" in ran.sentences[-1]
