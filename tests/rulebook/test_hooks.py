"""The reference of hooks has what the code has, asked of the imported modules rather than of their source."""

import dataclasses
import inspect

import pytest

from qc import plugin_api as contract
from qc.plugin_host import spec
from qc.rulebook.project import hooks, members
from support.markdown_page import Read


@pytest.fixture(scope="module")
def page():
    return Read(hooks.hooks_page())


def test_every_hook_has_its_section_and_what_is_called_when(page):
    assert set(hooks.CALLED) == set(spec.HOOKS)
    titles = [words for depth, words in page.headings if depth == 2]
    assert titles == [*spec.HOOKS, "The contract"]
    for name in spec.HOOKS:
        hook = getattr(spec, name)
        names = ", ".join(f"{one}: {kind.annotation}" for one, kind in inspect.signature(hook).parameters.items())
        assert f"{name}({names}) -> {inspect.signature(hook).return_annotation}" in page.words
        assert inspect.getdoc(hook).partition("\n\n")[0] in page.words


def test_every_name_of_the_contract_is_told(page):
    assert [words for depth, words in page.headings if depth == 3] == sorted(contract.__all__)


@pytest.mark.parametrize("name", [n for n in contract.__all__ if inspect.isclass(getattr(contract, n))])
def test_every_public_member_is_told(name):
    kind = getattr(contract, name)
    told = members.described(contract, name)
    own = {one for one in vars(kind) if not one.startswith("_") and not one.startswith("model_")}
    own |= {one for one in inspect.get_annotations(kind) if not one.startswith("_")}
    known = {one.signature.partition("(")[0].partition(":")[0] for one in told.members}
    assert known - members.DUNDERS == own
    assert told.doc
    assert told.signature.startswith(f"class {name}")
    if dataclasses.is_dataclass(kind):
        assert known - members.DUNDERS >= {field.name for field in dataclasses.fields(kind)}


def test_a_member_says_what_its_docstring_says():
    told = {one.signature: one.doc for one in members.described(contract, "Tap").members}
    assert told["rate(stream: Stream) -> int"] == "Return the frames a second of this tap."
    told = {one.signature: one.doc for one in members.described(contract, "Stream").members}
    assert told["rate: int"] == "frames a second"
    assert told["channels: int"] == ""


def test_a_name_that_is_not_there_is_refused():
    with pytest.raises(LookupError, match="has no Nothing"):
        members.described(contract, "Nothing")
    with pytest.raises(LookupError, match="has no function qc_nothing"):
        members.function(spec, "qc_nothing")
