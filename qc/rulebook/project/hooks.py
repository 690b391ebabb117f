"""The reference of hooks and of the contract, made from qc/plugin_host/spec.py and qc/plugin_api.py."""

from __future__ import annotations

from pathlib import Path

from qc import plugin_api as contract
from qc.plugin_host import names, spec
from qc.rulebook.project.members import described, function
from qc.rulebook.templates import filled
from qc.schemas.build import NAMES

FOLDER = Path(__file__).with_name("templates")

LEFT_OUT = (
    "The plugin is left out with all that it brings, and named; the others go on, a check that is missed gives error; "
    "exit code 3 where the run needs the plugin."
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


def hooks_page() -> str:
    """Return the page of hooks: each with its signature, its calls and its failures; then the contract."""
    return filled(
        "hooks.md", FOLDER, group=names.GROUP, schemas=NAMES, hooks=[_hook(name) for name in spec.HOOKS],
        contract=(contract.__doc__ or "").partition("\n\n")[2],
        types=[described(contract, name) for name in sorted(contract.__all__)],
    )  # fmt: skip


def _hook(name: str) -> dict[str, str]:
    hook, (called, failing) = function(spec, name), CALLED[name]
    return {
        "name": name, "signature": hook.signature, "doc": hook.doc,
        "called": called[0].lower() + called[1:], "failing": failing[0].lower() + failing[1:],
    }  # fmt: skip
