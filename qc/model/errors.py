"""Exceptions. The text of each is one sentence for the user; those of a command carry its exit code."""

from __future__ import annotations


class SidegateError(Exception):
    """Base of errors that end a command with `exit_code`; the text says what is wrong, where, and what to do."""

    exit_code = 3


class UsageError(SidegateError):
    """Invalid command line."""

    exit_code = 2


class DeliveryError(SidegateError):
    """Invalid delivery file; faults of its audio are findings instead."""

    exit_code = 2


class RulesetError(SidegateError):
    """A ruleset that cannot be found, read or bound to the checks."""

    exit_code = 2


class MissingRulesetError(RulesetError):
    """A ruleset that is not there, by its name or for a disc; a plugin that did not load may have it."""


class PluginError(SidegateError):
    """A plugin that is missing, does not load, or breaks the contract."""

    exit_code = 3


class OutputError(SidegateError):
    """A report that cannot be written to the requested path."""

    exit_code = 2


class NotApplicableError(Exception):
    """Raised by a check that has nothing to judge on this side; the text is the reason in the report."""


class NotMeasuredError(Exception):
    """Raised on access to a measurement that this side does not have; the text is the reason in the report."""


class TextTooLongError(Exception):
    """Raised where a pattern is matched with a text that is too long for it, which becomes a finding of the check."""

    def __init__(self, text: str, longest: int) -> None:
        super().__init__(f"A text of {len(text)} characters is too long to be judged; at most {longest} are")
        self.text = text


class SecondLookError(Exception):
    """Raised when audio cannot be read a second time: the allowance is used up, or the file changed or is gone."""


REASONS = (NotApplicableError, NotMeasuredError, TextTooLongError, SecondLookError)
"""Exceptions that state a reason, and are no fault of the code that raises them."""


class TimedOutError(Exception):
    """Raised where a call of plugin code takes longer than its time limit; the text says how long that is."""


class NoExceptionError(Exception):
    """Raised in place of what plugin code raised that is no Exception: SystemExit, KeyboardInterrupt, GeneratorExit."""


FAULTS = (Exception, SystemExit)
"""Exceptions of a plugin that are caught and reported while the other plugins go on.

The runner turns all others into a NoExceptionError, so that the KeyboardInterrupt of Ctrl-C is not among them.
"""
