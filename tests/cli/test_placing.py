"""Folders as places of reports: whole or not at all, and nothing of anybody else's is written over."""

from __future__ import annotations

import json
import stat
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

import pytest

from qc.cli.writing import Output, outputs, places, refuse_sources, write
from qc.files.atomic_write import OWN, put_folder
from qc.model.errors import OutputError, PluginError, UsageError
from qc.plugin_api import Evidence, FolderRenderer
from qc.plugin_host import validation as vetting
from qc.plugin_host.host import Host
from qc.plugin_host.runner import Runner
from qc.report import registry
from support.reports import eventful


class Pictures(FolderRenderer):
    name = "pictures"
    breaks: ClassVar[bool] = False
    many: ClassVar[int] = 2

    def fill(self, report, evidence, folder):
        (folder / "side").mkdir()
        for number in range(self.many):
            (folder / "side" / f"{number}.svg").write_text(report.delivery.title)
        if self.breaks:
            raise ValueError("no pen")


class Breaks(Pictures):
    breaks = True


class Fewer(Pictures):
    many = 1


def wanted(place, kind=Pictures):
    (one,) = outputs([f"pictures={place}"], replace(Host.build(()), renderers={"pictures": kind})).reports
    return one


def left(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def draw(place, kind=Pictures):
    write(wanted(place, kind), eventful(), Evidence())


def test_a_folder_is_made_whole_and_marked(tmp_path):
    draw(tmp_path / "out")
    assert left(tmp_path) == ["out", f"out/{OWN}", "out/side", "out/side/0.svg", "out/side/1.svg"]
    assert json.loads((tmp_path / "out" / OWN).read_text()) == ["side", "side/0.svg", "side/1.svg"]
    assert stat.S_IMODE((tmp_path / "out").stat().st_mode) == stat.S_IMODE((tmp_path / "out" / "side").stat().st_mode)


def test_one_that_was_written_here_is_replaced_as_a_whole(tmp_path):
    draw(tmp_path / "out")
    draw(tmp_path / "out", Fewer)
    assert left(tmp_path) == ["out", f"out/{OWN}", "out/side", "out/side/0.svg"]


def test_an_empty_one_is_taken(tmp_path):
    (tmp_path / "out").mkdir()
    draw(tmp_path / "out")
    assert "out/side/0.svg" in left(tmp_path)


def test_what_somebody_put_into_it_is_not_lost(tmp_path):
    draw(tmp_path / "out")
    (tmp_path / "out" / "mine.txt").write_text("mine")
    before = left(tmp_path)
    with pytest.raises(UsageError, match=r"it holds mine\.txt, not written by a report before; name an empty folder"):
        wanted(tmp_path / "out")
    with pytest.raises(OutputError, match=r"it holds mine\.txt"):  # put there while the audio was heard
        put_folder(tmp_path / "out", Path.touch, "out")
    assert left(tmp_path) == before


@pytest.mark.parametrize("mark", ["", "[1]", '{"a"', '"side"'])
def test_a_mark_that_is_no_mark_protects(tmp_path, mark):
    (tmp_path / OWN).write_text(mark)
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="not written by a report before"):
        wanted(tmp_path)


def test_a_format_that_breaks_leaves_the_older_folder_and_nothing_else(tmp_path):
    draw(tmp_path / "out")
    before = left(tmp_path)
    with pytest.raises(PluginError, match=r'"pictures" broke: ValueError: no pen .*; nothing was written'):
        draw(tmp_path / "out", Breaks)
    assert left(tmp_path) == before


def test_an_older_folder_comes_back_where_the_new_one_cannot_take_its_place(tmp_path, monkeypatch):
    draw(tmp_path / "out")
    before = left(tmp_path)
    real = Path.replace

    def full(self, target):
        if Path(target) == tmp_path / "out" and (self / "side" / "0.svg").read_text() == "new":
            raise OSError(28, "No space left on device")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", full)

    def fill(folder):
        (folder / "side").mkdir()
        (folder / "side" / "0.svg").write_text("new")

    with pytest.raises(OutputError, match="No space left"):
        put_folder(tmp_path / "out", fill, "out")
    assert left(tmp_path) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["pictures=-"], "pictures writes a folder of files; name one"),
        (["pictures=file"], "file is not a folder; name the folder to write"),
        (["pictures=none/out"], "there is no folder none; make it first"),
        (["json=out/report.json", "pictures=out"], "lies in the folder out, which pictures writes whole"),
        (["pictures=out", "json=out/report.json"], "lies in the folder out, which pictures writes whole"),
        (["pictures=out", "pictures=out"], "out is named twice"),
    ],
)
def test_places_that_cannot_be(tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "file").write_text("")
    (tmp_path / "out").mkdir()
    with pytest.raises(UsageError) as fault:
        places(words, registry.formats())
    assert says in str(fault.value)


def test_a_folder_with_the_delivery_in_it_is_refused(tmp_path):
    paper = tmp_path / "out" / "delivery.yaml"
    paper.parent.mkdir()
    one = Output(Pictures(), tmp_path / "out", "out", Runner())
    with pytest.raises(UsageError, match="belongs to the delivery"):
        refuse_sources([one], [paper.parent])
    paper.write_text("")
    with pytest.raises(UsageError, match=r"it holds delivery\.yaml"):
        wanted(tmp_path / "out")


def test_a_format_that_says_folder_is_made_from_the_class_for_it():
    class Half(Pictures):
        folder = False

    with pytest.raises(vetting.RefusedError, match="writes a folder if and only if"):
        vetting.renderers([Half])
    assert vetting.renderers([Pictures]) == (Pictures,)
