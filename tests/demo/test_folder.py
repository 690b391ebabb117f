"""Where the demo is made: only in an empty place, wholly or not at all, and the same each time."""

import re
import shutil
import signal
import subprocess
import time
from fractions import Fraction

import pytest
import soundfile

from qc.cli.main import main
from qc.delivery.reader import read_delivery
from qc.demo import folder
from qc.model.errors import OutputError
from support.command import COMMAND, heed_interrupts


def names(path):
    return sorted(file.name for file in path.iterdir())


@pytest.mark.long
def test_two_runs_give_the_same_files(demo, tmp_path):
    folder.make(tmp_path / "again")
    for name in ("side-a.wav", "side-b.wav", "delivery.yaml"):
        assert (tmp_path / "again" / name).read_bytes() == (demo.folder / name).read_bytes(), name


def test_a_folder_is_made_or_an_empty_one_filled(tmp_path, quick):
    there = tmp_path / "there"
    there.mkdir(mode=0o750)
    inode = there.stat().st_ino
    for place in (there, tmp_path / "new"):
        folder.make(place)
        assert names(place) == ["delivery.yaml", "side-a.wav", "side-b.wav"]
    assert (there.stat().st_ino, there.stat().st_mode & 0o777) == (inode, 0o750)
    assert names(tmp_path) == ["new", "there"]


def test_a_link_to_an_empty_folder_is_followed(tmp_path, quick):
    (tmp_path / "there").mkdir()
    (tmp_path / "link").symlink_to("there")
    folder.make(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert "delivery.yaml" in names(tmp_path / "there")


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: (path.mkdir(), (path / "notes.txt").write_text("mine")), "is not empty"),
        (lambda path: path.write_text("mine"), "is no folder"),
        (lambda path: path.symlink_to("nowhere"), "is no folder"),
    ],
)
def test_a_place_that_is_taken_is_refused(tmp_path, capsys, make, words):
    make(tmp_path / "taken")
    before = names(tmp_path)
    assert main(["demo", str(tmp_path / "taken")]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    (sentence,) = err.splitlines()
    assert words in sentence
    assert names(tmp_path) == before


def test_a_place_without_a_parent_is_refused(tmp_path, capsys):
    assert main(["demo", str(tmp_path / "no" / "demo")]) == 2
    (sentence,) = capsys.readouterr().err.splitlines()
    assert "there is no folder" in sentence
    assert names(tmp_path) == []


def test_a_folder_without_a_name_is_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["demo", ""]) == 2
    (sentence,) = capsys.readouterr().err.splitlines()
    assert "has no name" in sentence
    assert names(tmp_path) == []


def test_a_demo_that_is_there_can_be_judged(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sidegate-demo").mkdir()
    (tmp_path / "sidegate-demo" / "delivery.yaml").write_text("schema: 1\n", encoding="utf-8")
    assert main(["demo"]) == 2
    assert "judge what is there with sidegate check sidegate-demo, or name one" in capsys.readouterr().err
    assert names(tmp_path / "sidegate-demo") == ["delivery.yaml"]


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("there", [False, True])
def test_nothing_half_made_stays(tmp_path, monkeypatch, quick, error, there):
    place = tmp_path / "demo"
    if there:
        place.mkdir()
    write = soundfile.write

    def breaks(path, *words, **more):
        if path.name == "side-b.wav":
            raise error
        write(path, *words, **more)

    monkeypatch.setattr(folder.soundfile, "write", breaks)
    with pytest.raises(OutputError if isinstance(error, OSError) else KeyboardInterrupt):
        folder.make(place)
    assert names(tmp_path) == (["demo"] if there else [])
    assert not there or names(place) == []


@pytest.mark.long
def test_ctrl_c_while_it_renders_leaves_nothing(tmp_path):
    words = [*COMMAND, "demo", "mine"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen(words, cwd=tmp_path, preexec_fn=heed_interrupts, **pipes) as running:  # noqa: PLW1509
        assert "making" in running.stderr.readline()
        deadline = time.monotonic() + 30.0
        while not names(tmp_path) and time.monotonic() < deadline:
            time.sleep(0.01)
        assert re.fullmatch(r"\.sidegate-\w+", names(tmp_path)[0])
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    assert running.returncode == 130, err
    assert out == ""
    assert "stopped" in err
    assert "Traceback" not in err
    assert names(tmp_path) == []


def test_a_draft_from_the_audio_has_the_times_of_the_paper(demo, tmp_path):
    """Within one CUE frame; but for the one end and start of side B that the paper has wrong on purpose."""
    for side in ("a", "b"):
        shutil.copy(demo.folder / f"side-{side}.wav", tmp_path)
    assert main(["init", *(str(tmp_path / f"side-{side}.wav") for side in ("a", "b")), "--out", str(tmp_path)]) == 0
    paper, draft = read_delivery(demo.folder).delivery, read_delivery(tmp_path).delivery
    wrong = {("B", 1, "end"), ("B", 2, "start")}
    for told, found in zip(paper.sides, draft.sides, strict=True):
        assert [track.number for track in told.tracks] == [track.number for track in found.tracks]
        assert told.sha256 == found.sha256
        for one, other in zip(told.tracks, found.tracks, strict=True):
            for key in ("start", "end"):
                near = abs(getattr(one, key) - getattr(other, key)) <= Fraction(1, 75)
                assert near != ((told.id, one.number, key) in wrong)
