"""What can go wrong, as types: each error is one sentence for a person and one exit code for a machine."""

from __future__ import annotations


class SidegateError(Exception):
    """A sentence that says what is wrong, where, and what to do; `exit_code` is what the command ends with."""

    exit_code = 3


class UsageError(SidegateError):
    """The command line cannot be used as it was given."""

    exit_code = 2


class DeliveryError(SidegateError):
    """The delivery file (not its audio) cannot be used."""

    exit_code = 2


class RulesetError(SidegateError):
    """A ruleset cannot be found, read or bound to the checks."""

    exit_code = 2


class PluginError(SidegateError):
    """A plugin is missing, does not load, or breaks the contract."""

    exit_code = 3


class OutputError(SidegateError):
    """A report cannot be written where it was asked for."""

    exit_code = 2


class NotApplicableError(Exception):
    """Raised by a check that has nothing to judge here; the text is the reason in the report."""


class NotMeasuredError(Exception):
    """Raised where a measurement is asked for that this side does not have; the text is the reason."""


class NotHeardAgainError(Exception):
    """Raised where the second look cannot give a stretch: what may be read again is spent, or the file went away."""


class GivenUpError(Exception):
    """Raised where a call into a plugin takes longer than anyone waits for it; the text says how long that was."""


FAULTS = (Exception, SystemExit)
"""What a plugin may raise without stopping the others; Ctrl-C is not among them."""
