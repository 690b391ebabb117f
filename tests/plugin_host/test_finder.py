"""Plugins are found without being imported, in an order that does not depend on where they are installed."""

from __future__ import annotations

import sys
from importlib.metadata import distributions

import pytest

from qc.plugin_host import names, spec
from qc.plugin_host.finder import find, named
from support.installed import install


def entries(folder):
    return [
        entry for one in distributions(path=[str(folder)]) for entry in one.entry_points if entry.group == names.GROUP
    ]


def test_found_by_name_with_package_and_version(tmp_path):
    install(tmp_path, "zz-rules", "2.0", "house = never_imported_a", "alpha = never_imported_b")
    install(tmp_path, "acme-rules", "1.2", "mid = never_imported_c:thing", "house = never_imported_d")
    found = find(entries(tmp_path))
    assert [(one.name, one.package, one.version) for one in found] == [
        ("alpha", "zz-rules", "2.0"),
        ("house", "acme-rules", "1.2"),
        ("house", "zz-rules", "2.0"),
        ("mid", "acme-rules", "1.2"),
    ]
    assert found[0].shown == 'plugin "alpha" of zz-rules 2.0'
    assert not [name for name in sys.modules if name.startswith("never_imported")]


def test_what_is_installed_is_found(tmp_path, monkeypatch):
    install(tmp_path, "acme-rules", "1.2", "mid = never_imported_c:thing")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert ("mid", "acme-rules", "1.2") in [one[:3] for one in find()]


@pytest.mark.parametrize(
    ("parts", "shown"),
    [(("a", "", ""), 'plugin "a"'), (("a", "p", ""), 'plugin "a" of p'), (("a", "p", "1"), 'plugin "a" of p 1')],
)
def test_names_in_sentences(parts, shown):
    assert named(*parts) == shown


def test_the_hooks_are_those_of_the_page():
    assert {name for name in vars(spec) if name.startswith("qc_")} == set(spec.HOOKS)
    assert all(getattr(spec, name).__doc__ for name in spec.HOOKS)
