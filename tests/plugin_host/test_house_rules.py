"""The example of a house's rules passes its own tests, as somebody who copies it would run them."""

import re
from pathlib import Path

import pytest

from support.installed import install, own_tests

PACKAGE = Path(__file__).parents[2] / "examples" / "house_rules"


@pytest.mark.long
def test_its_own_tests_pass(tmp_path):
    install(tmp_path, "lowtide-rules", "1.0.0", "lowtide = lowtide_rules")
    done = own_tests(PACKAGE, tmp_path)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(re.search(r"(\d+) passed", done.stdout)[1]) >= 20


def test_its_readme_is_short_and_names_every_file():
    text = (PACKAGE / "README.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 30
    modules = {path.name for path in (PACKAGE / "src" / "lowtide_rules").glob("*.py")}
    assert all(name in text for name in modules)
