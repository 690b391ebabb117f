"""Every test of `longest.txt` is there, and the script chooses the slowest of a run."""

from __future__ import annotations

import re

import pytest

from support.longest import TESTS, longest, slowest

RUN = """<testsuites><testsuite>
<testcase classname="tests.support.test_layout" name="test_a" time="1.0"/>
<testcase classname="tests.support.test_layout" name="test_b[x]" time="5.0"/>
<testcase classname="tests.support.test_layout.TestGroup" name="test_c" time="3.0"/>
</testsuite></testsuites>"""


@pytest.mark.parametrize("module", sorted({test.partition("::")[0] for test in longest()}))
def test_every_listed_test_is_there(module):
    source = (TESTS.parent / module).read_text(encoding="utf-8")
    for test in longest():
        if test.startswith(f"{module}::"):
            assert re.search(rf"def {test.rpartition('::')[2].partition('[')[0]}\b", source), test


def test_the_slowest_are_listed_until_the_others_take_no_more_than_asked(tmp_path):
    report = tmp_path / "times.xml"
    report.write_text(RUN, encoding="utf-8")
    module = "tests/support/test_layout.py"
    assert slowest(report, 9.0) == []
    assert slowest(report, 4.0) == [f"{module}::test_b[x]"]
    assert slowest(report, 1.0) == [f"{module}::TestGroup::test_c", f"{module}::test_b[x]"]
