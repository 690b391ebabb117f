"""Case files for tests of checks: one YAML file describes a delivery and the expected result of one check.

The path of a case is `CHECK ID/OUTCOME-why.yaml`, with the outcome pass, warn, fail, waived, or na for not applicable.
`sidegate test FOLDER` runs a folder of cases; a test in Python takes three lines:

    @pytest.mark.parametrize("case", cases_in(FOLDER), ids=str)
    def test_case(case, tmp_path):
        check(case, tmp_path)
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from qc.files.yaml_source import load_yaml, validate
from qc.model.errors import PluginError
from qc.plugin_host.host import Host
from qc.ruleset.find import is_path
from qc.testing.case_file import Case, CaseError, CaseFile
from qc.testing.case_folders import NAMED, OUTCOMES, case_files, check_of, nearby_ruleset
from qc.testing.comparison import differences_of, hold
from qc.testing.deliveries import JudgedReport
from qc.testing.made import make, write_waivers
from qc.text.sanitize import shown
from qc.text.suggest import meant

__all__ = ["Case", "CaseError", "cases_in", "check", "hold", "load", "run"]


def load(path: Path) -> Case:
    """Read a case file; raises CaseError with one sentence, "FILE:LINE: ..."."""
    path = Path(path)
    named = NAMED.fullmatch(path.stem)
    if named is None:
        raise CaseError(
            f"{shown(str(path), longest=500)}: a case is named for what must become of the check and why, "
            "such as warn-a-little-too-deep.yaml; it begins with pass-, warn-, fail-, waived- or na-"
        )
    file = validate(load_yaml(path, "case", CaseError), CaseFile, CaseError)
    return Case(path, check_of(path), OUTCOMES[named[1]], file)


def cases_in(folder: Path) -> list[Case]:
    """Read every case of a folder, `CHECK ID/OUTCOME-why.yaml`, in order; raises CaseError for an empty one.

    A file that cannot be used is a case with an `error`, so that one slip ends none of the others.
    """
    return [_loaded(path) for path in case_files(Path(folder))]


def _loaded(path: Path) -> Case:
    try:
        return load(path)
    except CaseError as error:
        return Case(path, check_of(path), "", CaseFile.model_construct(why="", sides=()), error)


def run(
    case: Case, tmp_path: Path, host: Host | None = None, *, cache: Path | None = None, ruleset: str | None = None
) -> JudgedReport:
    """Write the delivery of a case under `tmp_path` and judge it with all checks of its ruleset.

    `host` has the plugins, by default the installed ones; `Host.build(extra=[("house", module)])` adds one that is not
    installed. `cache` is a folder of stored measurements, for a case that is run under several limits; `ruleset` judges
    a case that names none. Raises CaseError for a case that cannot be made, PluginError where a plugin that did not
    load may have the check, and the errors of `qc.api.check`.
    """
    from qc import api
    from qc.judge.engine import exit_code
    from qc.testing.ruled import served_disc

    if case.error is not None:
        raise case.error
    host, folder, spec, file = host or api.build_host(), Path(tmp_path), _ruleset(case, ruleset), case.file
    if file.disc is None and spec is not None:
        file = file.model_copy(update={"disc": served_disc(spec, host)})
    delivery = _made(case, file, folder / "delivery")
    spec = _with_the_check(case, delivery, spec, host, folder / "case.yaml")
    waivers = write_waivers(file.waivers, folder / "waivers.yaml") if file.waivers else None
    options = api.Options(ruleset=spec, workers=1, cache=cache, today=file.today)
    options = replace(options, baseline=_baseline(case, file, folder, options, host))
    report = api.check(delivery, replace(options, waivers=waivers), host)
    return JudgedReport(exit_code(report), json.loads(report.model_dump_json()))


def _ruleset(case: Case, otherwise: str | None) -> str | None:
    """Return the ruleset that the case names, with a path resolved; else `otherwise`, else the file near the case."""
    own = case.file.ruleset
    if own is not None:
        return str(case.path.parent / own) if is_path(own) else own
    if otherwise is not None:
        return otherwise
    nearby = nearby_ruleset(case.path)
    return None if nearby is None else str(nearby)


def _made(case: Case, file: CaseFile, folder: Path) -> Path:
    """Write a delivery; raises CaseError where its signals cannot be made."""
    try:
        return make(file, folder)
    except ValueError as why:
        raise CaseError(f"{shown(str(case.path), longest=500)}: {why}") from None


def _with_the_check(case: Case, delivery: Path, spec: str | None, host: Host, path: Path) -> str | None:
    """Return the ruleset of a case, written with its limits where it has any; raises where no check has its name."""
    from qc.delivery.reader import read_delivery
    from qc.ruleset.choose import choose
    from qc.testing.ruled import write_with_limits

    if case.check in host.checks and not case.file.limits:
        return spec
    ruleset = choose(read_delivery(delivery), spec, host)
    if case.check not in host.checks and case.check not in ruleset.measures:
        if host.failures:
            raise PluginError(
                f'{case}: no check is called "{shown(case.check)}", and a plugin did not load: '
                f"{host.failures[0].message}"
            )
        hint = meant(case.check, {*host.checks, *ruleset.measures})
        raise CaseError(
            f'{case}: no check is called "{shown(case.check)}", as the folder is; {hint}, or name the ruleset that has '
            "it as a measure"
        )
    return str(write_with_limits(ruleset, case.file.limits, path)) if case.file.limits else spec


def _baseline(case: Case, file: CaseFile, folder: Path, options: Any, host: Host) -> Path | None:
    """Judge the earlier delivery of a case and write its report; None where it has none."""
    from qc import api

    if file.baseline is None:
        return None
    earlier = file.model_copy(update=dict(file.baseline))
    report = api.check(_made(case, earlier, folder / "earlier"), options, host)
    path = folder / "baseline.json"
    path.write_text(report.model_dump_json(), encoding="utf-8")
    return path


def check(case: Case, tmp_path: Path, host: Host | None = None) -> JudgedReport:
    """Run a case, compare the report with its expectations, and return the report.

    Raises AssertionError with a line for each difference, and what `run` raises.
    """
    judged = run(case, tmp_path, host)
    if differences := differences_of(case, judged):
        raise AssertionError("\n".join(f"{case.path}: {difference}" for difference in differences))
    return judged
