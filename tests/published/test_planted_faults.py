"""The table of planted faults: each check says what was found, the page has the same numbers, clean material passes."""

from published.faults_page import PAGE, checks_of_the_programme, page
from published.make_faults import planted_faults
from qc.api import build_host
from support.planted_faults import read_clean, read_found

HOST = build_host()
FAULTS = {fault.name: fault for fault in planted_faults()}
FOUND = read_found()
WARNS_AN_HOUR = 2.0
"""Most warnings an hour of clean material, of all checks but those of the groove; none fails."""


def test_a_check_says_from_which_strength_its_faults_were_found():
    for name, fault in FOUND.items():
        assert fault.strengths == list(FAULTS[name].strengths), f"{name}: make_faults.py must run again"
        assert fault.check == FAULTS[name].check
        sentence = HOST.checks[fault.check].sensitivity
        for strength in {fault.half, fault.every} - {"-"}:
            assert strength in sentence, fault


def test_the_page_is_made_of_the_numbers():
    assert PAGE.read_text(encoding="utf-8") == page()


def test_clean_material_fails_no_check_and_warns_of_hardly_any():
    clean = read_clean()
    assert clean["hours"] >= 1.0
    assert not clean["errors"]
    judged = checks_of_the_programme()
    counts = [counts for name, counts in clean["findings"].items() if name in judged]
    assert not sum(row["fail"] for row in counts)
    assert sum(row["warn"] for row in counts) <= WARNS_AN_HOUR * clean["hours"]
