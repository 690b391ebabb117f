"""The `sidegate` command: the modules of its commands, its errors, and the exit code."""

from __future__ import annotations

import argparse
import atexit
import contextlib
import gc
import importlib
import os
import re
import sys
from collections.abc import Callable, Sequence
from typing import NoReturn

from qc.cli import stopping
from qc.cli.parser import parser
from qc.cli.streams import apart, emit, flush, open_missing, say
from qc.model.errors import PluginError, SidegateError

__all__ = ["emit", "main", "parser", "run", "say"]

SIGNED = {"--level", "--surface-noise", "--vertical-angle-error"}
"""Options whose value may begin with a minus."""

GARBAGE = 400_000
"""Objects created before the garbage collector runs: a start creates many, all of which stay."""


COMMANDS = {
    "approve", "check", "completion", "demo", "docs", "explain", "init", "listen", "new-plugin", "plan", "rulesets",
    "store", "where",
}  # fmt: skip
"""Commands with a module of their own in qc.cli."""

MODULES = {"test": "qc.testing.command"}
"""Command -> its module where that is another one: the test kit imports the command, so it lies in a layer above."""


def main(argv: list[str] | None = None) -> int:
    """Run a command and return its exit code; each error is one sentence on stderr."""
    try:
        return _run(parser().parse_args(_signed_joined(sys.argv[1:] if argv is None else argv)))
    except SidegateError as error:
        say(str(error))
        return error.exit_code
    except KeyboardInterrupt as stopped:
        say(stopping.SENTENCE)
        return stopped.exit_code if isinstance(stopped, stopping.StoppedError) else 130
    except Exception as error:  # a fault of the tool itself
        if (number := stopping.received()) is not None:  # a module being imported changed the exception
            say(stopping.SENTENCE)
            return 128 + number
        if os.environ.get("SIDEGATE_DEBUG"):
            raise
        text = " ".join(str(error).split())
        say(f"the tool itself failed ({type(error).__name__}: {text}); please report it; SIDEGATE_DEBUG=1 shows where")
        return 3


def _signed_joined(argv: Sequence[str]) -> list[str]:
    """Join `--level -6dB` to `--level=-6dB` and the like: a value with a leading minus looks like an option."""
    joined: list[str] = []
    for index, word in enumerate(argv):
        if word == "--":
            return [*joined, *argv[index:]]
        if joined and joined[-1] in SIGNED and re.match(r"-[0-9.]", word):
            joined[-1] += f"={word}"
        else:
            joined.append(word)
    return joined


def _run(words: argparse.Namespace) -> int:
    """Run the named command; only the command line itself may end the process, no code that a command calls."""
    try:
        return _run_named(words)
    except SystemExit as ended:
        raise PluginError(
            f"a plugin ended the command ({type(ended).__name__}), and nothing more was written; run "
            '"sidegate plugins" to see which are installed, and remove the one at fault'
        ) from None


def _run_named(words: argparse.Namespace) -> int:
    """Run the named command, importing only its module."""
    if words.command in COMMANDS | MODULES.keys():
        command: Callable[[argparse.Namespace], int]
        name = words.command.replace("-", "_")
        command = getattr(importlib.import_module(MODULES.get(name, f"qc.cli.{name}")), name)
        stopping.by_unwinding()
        with contextlib.nullcontext() if words.command == "docs" else apart():
            return command(words)
    if words.command == "schema":
        from qc.cli.schema import schema

        return schema(words.model)
    from qc.cli.listing import plugins

    return plugins(words)


def run() -> NoReturn:
    """Run the command of the process, and end the process."""
    end = _End()
    atexit.register(end)  # the first to be registered, so it is called last
    stopping.at_once()
    gc.set_threshold(GARBAGE)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # no kernel uses the threads of numpy's linear algebra
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # the search for plugins is slow
    open_missing()
    code: str | int | None
    try:
        code = main()
    except SystemExit as ended:  # help, the version, an unusable command line
        code = ended.code
    except KeyboardInterrupt as stopped:  # a signal during the handling of another one
        code = stopped.exit_code if isinstance(stopped, stopping.StoppedError) else 130
    stopping.at_once()
    _leave(_flushed(code), end)


def _flushed(code: str | int | None) -> str | int | None:
    """Flush stdout and return the exit code, which is not 0 or 1 if the output could not be written."""
    try:
        flush()
    except SidegateError as error:
        say(str(error))
        return error.exit_code if code in {None, 0, 1} else code
    return code


class _End:
    """Ends the process once every other exit handler was called.

    To take down the modules, numba's and the compiler's among them, takes 50 ms, and nothing is left to be done there.
    """

    def __init__(self) -> None:
        self.code = 1
        """exit code of the process; 1 as long as an error that is not handled may end it"""

    def __call__(self) -> NoReturn:
        for stream in (sys.stdout, sys.stderr):
            with contextlib.suppress(OSError, ValueError, AttributeError):  # AttributeError: there is no such stream
                stream.flush()
        os._exit(self.code)


def _leave(code: str | int | None, end: _End) -> NoReturn:
    """End the process, even while a call of a plugin that timed out or was interrupted still runs."""
    stopping.not_at_all()
    end.code = code if isinstance(code, int) else int(code is not None)
    runner = sys.modules.get("qc.plugin_host.runner")
    if runner is not None and runner.unfinished():
        kernels = sys.modules.get("qc.dsp.kernels.cache")
        if kernels is not None:
            kernels.close()  # else what was compiled would be compiled again
        end()
    sys.exit(code)
