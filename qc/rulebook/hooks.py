"""The reference of hooks and of the contract, made from qc/plugin_host/spec.py and qc/plugin_api.py."""

from __future__ import annotations

from collections.abc import Iterator

from qc import plugin_api as contract
from qc.plugin_host import names, spec
from qc.rulebook.markdown import bullets, code, heading, link, page, paragraph, prose
from qc.rulebook.members import Member, MemberDocs, function, told
from qc.schemas.build import NAMES

LEFT_OUT = (
    "The plugin is left out with all that it brings, and named; the others go on, a check that is missed gives error; "
    "exit code 3."
)
CALLED = {
    "qc_checks": ("Once, when a run begins.", LEFT_OUT),
    "qc_measures": ("Once, when a run begins.", LEFT_OUT),
    "qc_rulesets": (
        "Once, when a run begins; by itself for a list of rulesets, so that it should import little.",
        LEFT_OUT,
    ),
    "qc_read_delivery": (
        "Once, before anything of a delivery is read: plugin by plugin, by name, until one gives text.",
        "It is named, the next plugin is asked, then the tool itself; exit code 3.",
    ),
    "qc_renderers": ("Once, when a run begins.", LEFT_OUT),
    "qc_report_done": (
        "Once, when a report is whole and before it is written: every plugin in turn, by name.",
        "The others are called all the same and the verdict stands; it is named in the report, exit code 3.",
    ),
}
"""hook -> when it is called, and what becomes of a run in which it raises or gives what cannot be used"""

ANNOUNCED = f"""\
```toml
[project.entry-points."{names.GROUP}"]
house = "house_rules"
```
"""
SMALLEST = """\
```python
from qc import hookimpl


@hookimpl
def qc_checks():
    return []
```
"""


def hooks_page() -> str:
    """Give the page of hooks: each with its signature, when it is called and what a failure does; then the contract."""
    parts = [
        heading("Hooks"),
        paragraph(
            f"A plugin is a module with hooks, functions marked {code('@hookimpl')}. Its package announces it in "
            f"{code('pyproject.toml')}, and nothing is loaded by any other way:"
        ),
        ANNOUNCED,
        paragraph(f"Any hook may be left out. This is a plugin, {code('house_rules.py')}, that brings nothing yet:"),
        SMALLEST,
        paragraph(
            "Arguments may be left out too. A misspelt hook, a wrapper, or a function that only looks like a hook is "
            f"refused in a sentence; {code('sidegate plugins')} shows what loaded and what did not. "
            f"{link('README.md', 'README.md')} has a whole check. What is read and written has a schema: "
            f"{', '.join(link(name, f'../qc/schemas/{name}.json') for name in NAMES)}. What the standard plugin checks "
            f"is in the {link('rulebook', '../rulesets/rulebook/README.md')}."
        ),
    ]
    for name in spec.HOOKS:
        parts += [heading(name, 2), *_hook(function(spec, name), *CALLED[name])]
    parts += [heading("The contract", 2), paragraph(prose((contract.__doc__ or "").partition("\n\n")[2]))]
    for name in sorted(contract.__all__):
        parts += [heading(name, 3), *_type(told(contract, name))]
    return page(*parts)


def _hook(hook: Member, when: str, failing: str) -> Iterator[str]:
    yield paragraph(code(hook.signature))
    yield paragraph(prose(hook.doc))
    yield bullets([f"Called: {_lower(when)}", f"If it fails: {_lower(failing)}"])


def _lower(sentence: str) -> str:
    return prose(sentence[0].lower() + sentence[1:])


def _type(one: MemberDocs) -> Iterator[str]:
    yield paragraph(code(one.signature))
    yield paragraph(prose(one.doc)) if one.doc else ""
    yield bullets(
        f"{code(member.signature)}{f' - {prose(member.doc)}' if member.doc else ''}" for member in one.members
    )
