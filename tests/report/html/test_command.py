"""The format as people ask for it."""

import json

import numpy as np

from qc.testing.deliveries import Sent, deliver, judge


def quiet():
    x = 0.05 * np.sin(2.0 * np.pi * 300.0 * np.arange(96_000) / 48_000)
    return Sent(np.vstack([x, x]))


def test_the_page_is_written_and_changes_nothing_of_the_json_report(tmp_path):
    folder = deliver(tmp_path / "delivery", {"A": quiet()})
    alone = judge(folder, tmp_path / "alone.json")
    beside = judge(folder, tmp_path / "beside.json", "--out", f"html={tmp_path / 'report.html'}")
    assert beside.code == alone.code
    reports = [
        json.loads((tmp_path / name).read_text(encoding="utf-8")) | {"run": None}
        for name in ("alone.json", "beside.json")
    ]
    assert reports[0] == reports[1]
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert page.startswith("<!DOCTYPE html>")
    assert "Along time" in page


def test_a_delivery_whose_audio_is_at_fault_has_a_page_too(tmp_path):
    folder = deliver(tmp_path / "delivery", {"A": quiet()})
    (folder / "side-a.wav").write_bytes(b"RIFF")
    judged = judge(folder, tmp_path / "report.json", "--out", f"html={tmp_path / 'report.html'}")
    assert judged.code == 1
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "not measured; do not cut this side" in page
    assert "Along time" not in page
