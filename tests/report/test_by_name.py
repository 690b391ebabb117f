"""A Python program writes a report in any format by its name, as the command does."""

import io
import json
import subprocess
import sys
import types

import pytest

import qc
from qc import Renderer, api, build_host, exit_code, hookimpl, render
from qc.judge import engine
from qc.model.errors import OutputError, PluginError, UsageError
from qc.plugin_host.host import Host
from qc.report import registry


class Words(Renderer):
    """A plugin's format: the verdict alone."""

    name = "words"

    def render(self, report, evidence, out):
        out.write(f"{report.verdict} {len(evidence.words) > 0}".encode())


class Breaking(Words):
    """A plugin's format that breaks."""

    name = "breaks"

    def render(self, report, evidence, out):
        out.write(b"half")
        raise ZeroDivisionError("by zero")


@pytest.fixture(scope="module")
def host():
    plugin = types.ModuleType("formats")
    plugin.qc_renderers = hookimpl(lambda: [Words, Breaking], specname="qc_renderers")
    return Host.build(extra=[("formats", plugin)])


@pytest.mark.parametrize("name", [row.name for row in registry.FORMATS if not row.folder])
def test_every_format_is_written_to_a_path_and_to_a_stream(report, host, tmp_path, name):
    path, out = tmp_path / f"report{registry.formats()[name].endings[0]}", io.BytesIO()
    render(report, name, path, host)
    render(report, name, out, host)
    assert path.read_bytes()
    assert out.getvalue()


def test_a_result_brings_its_pictures(checked, host, tmp_path):
    render(checked, "pictures", tmp_path / "pictures", host)
    assert list((tmp_path / "pictures").glob("*.svg"))
    render(checked, "json", tmp_path / "report.json", host)
    assert json.loads((tmp_path / "report.json").read_bytes())["verdict"] == checked.report.verdict


def test_a_plugins_format_is_written_by_its_name(report, host):
    out = io.BytesIO()
    assert render(report, "words", out, host) == ""
    assert out.getvalue().decode() == f"{report.verdict} True"


def test_what_cannot_be_written_is_one_sentence_and_leaves_nothing(report, host, tmp_path):
    with pytest.raises(UsageError, match='there is no format "hmtl"; did you mean "html"'):
        render(report, "hmtl", tmp_path / "report.html", host)
    with pytest.raises(PluginError, match='the format "breaks" broke: ZeroDivisionError: by zero'):
        render(report, "breaks", tmp_path / "report.txt", host)
    with pytest.raises(UsageError, match='"pictures" writes a folder of files; name its path'):
        render(report, "pictures", io.BytesIO(), host)
    with pytest.raises(OutputError, match="cannot be written"):
        render(report, "json", tmp_path / "none" / "report.json", host)
    assert list(tmp_path.iterdir()) == []


def test_the_names_for_programs_are_handed_on():
    assert exit_code is engine.exit_code
    assert build_host is api.build_host
    assert all(getattr(qc, name) is getattr(api, name) for name in qc.RUN)


def test_the_package_is_imported_without_numpy():
    code = "import qc, sys; sys.exit('numpy' in sys.modules or 'threadpoolctl' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
