"""`sidegate completion`: a script for bash, zsh or fish that completes commands, options and names.

Commands and options are read off the parser when the script is printed; names of rulesets, checks, measurements and
formats are listed while the user types, by `sidegate completion --list`.
"""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple, get_args

from qc.cli.parser import parser
from qc.cli.streams import emit
from qc.model.discs import DISCS, disc_name
from qc.model.errors import UsageError
from qc.report import registry

if TYPE_CHECKING:
    from qc.plugin_host.host import Host

FORMATS = {
    command: tuple(f"{name}=" for name in registry.formats(command))
    for command in get_args(registry.Command)
    if command != "check"
}
"""command -> the beginnings of its --out; plugins add theirs to those of `check`, which are listed when asked for"""
DISC_NAMES = tuple(disc_name(*disc) for disc in DISCS)

TIPS = ("5um", "8um", "8x18um", "18um", "spherical", "elliptical", "line-contact")
"""Tips that --tip offers; any other may be written."""


class Command(NamedTuple):
    """A command with its options and choices."""

    name: str
    help: str
    options: tuple[tuple[str, str], ...]
    """option and help"""
    choices: tuple[str, ...]
    """of its first positional argument, where argparse limits it"""


def completion(words: argparse.Namespace) -> int:
    """Print the script for a shell, or a list of names; raises UsageError if neither is named."""
    if words.list is not None:
        emit("".join(f"{name}\n" for name in _LISTS[words.list]()).encode())
        return 0
    if words.shell is None:
        raise UsageError(f"completion: name the shell; there are {', '.join(_SHELLS)}")
    emit(_SHELLS[words.shell](commands()).encode())
    return 0


def commands() -> tuple[Command, ...]:
    """Return the commands of the parser that have a help text."""
    (subparsers,) = (action for action in _actions(parser()) if isinstance(action, argparse._SubParsersAction))  # noqa: SLF001
    helps = {action.dest: action.help or "" for action in subparsers._choices_actions}  # noqa: SLF001 - there is no public way
    return tuple(_command(name, help_, subparsers.choices[name]) for name, help_ in helps.items())


def _command(name: str, help_: str, parser_: argparse.ArgumentParser) -> Command:
    options: list[tuple[str, str]] = []
    choices: list[str] = []
    for action in _actions(parser_):
        if action.help is argparse.SUPPRESS:
            continue
        options += [(option, action.help or "") for option in action.option_strings if option.startswith("--")]
        if not action.option_strings and action.choices is not None:
            choices += [str(choice) for choice in action.choices]
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            options += [option for inner in action.choices.values() for option in _command("", "", inner).options]
    return Command(name, help_, tuple(options), tuple(choices))


def _actions(parser_: argparse.ArgumentParser) -> list[argparse.Action]:
    return parser_._actions  # noqa: SLF001 - there is no public way


def _rulesets() -> list[str]:
    from qc import api
    from qc.ruleset.read import is_abstract, read_file

    usable = [ruleset for ruleset in api.rulesets(_host()) if not is_abstract(read_file(ruleset.path))]
    return sorted({row.name for row in usable} | {f"{row.name}@{row.version}" for row in usable})


def _names() -> list[str]:
    from qc.cli.explain import names

    return names(_host())


def _host() -> Host:
    """Load the plugins but those that SIDEGATE_WITHOUT switches off."""
    from qc.cli.plugin_host import host_of

    return host_of(argparse.Namespace())


def _plugins() -> list[str]:
    """List the plugins that can be switched off: all but those of the tool itself."""
    from qc.plugin_host.finder import find
    from qc.plugin_host.names import PROJECT

    return sorted({plugin.name for plugin in find() if plugin.package != PROJECT})


def _chain() -> list[str]:
    from qc.ruleset.overrides import keys

    return [f"{key}=" for key in keys()]


def _formats() -> list[str]:
    return [f"{name}=" for name in registry.with_plugins(_host().renderers)]


_LISTS: dict[str, Callable[[], list[str]]] = {
    "rulesets": _rulesets, "names": _names, "chain": _chain, "plugins": _plugins, "formats": _formats,
}  # fmt: skip


def _bash(commands: tuple[Command, ...]) -> str:
    cases = "".join(f"    {command.name}) words={shlex.quote(_words(command))} ;;\n" for command in commands)
    outs = "".join(
        f"        {name}) words={shlex.quote(' '.join(formats))}; compopt -o nospace 2>/dev/null ;;\n"
        for name, formats in FORMATS.items()
    )
    return f"""\
# bash completion of sidegate: source <(sidegate completion bash)
_sidegate() {{
  local cur=${{COMP_WORDS[COMP_CWORD]}} prev=${{COMP_WORDS[COMP_CWORD-1]}} command='' word words=''
  COMPREPLY=()
  for word in "${{COMP_WORDS[@]:1:COMP_CWORD-1}}"; do
    case $word in -*) ;; *) command=$word; break ;; esac
  done
  case $command in
    '') words={shlex.quote(" ".join([*(command.name for command in commands), "--help", "--version"]))} ;;
{cases}  esac
  case $prev in
    --ruleset) words=$(sidegate completion --list rulesets 2>/dev/null) ;;
    --without) words=$(sidegate completion --list plugins 2>/dev/null) ;;
    --disc) words={shlex.quote(" ".join(DISC_NAMES))} ;;
    --tip) words={shlex.quote(" ".join(TIPS))} ;;
    --chain) words=$(sidegate completion --list chain 2>/dev/null); compopt -o nospace 2>/dev/null ;;
    --out)
      words=''
      case $command in
        check) words=$(sidegate completion --list formats 2>/dev/null); compopt -o nospace 2>/dev/null ;;
{outs}      esac ;;
    --side|--at|--radius|--workers|--patience|--cue|--most|--on) words='' ;;
    diff) [[ $command != rulesets || $cur == -* ]] || words=$(sidegate completion --list rulesets 2>/dev/null) ;;
    explain) [[ $cur == -* ]] || words=$(sidegate completion --list names 2>/dev/null) ;;
    *)
      [[ $command != rulesets || $cur == -* || ${{COMP_WORDS[COMP_CWORD-2]}} != diff ]] ||
        words=$(sidegate completion --list rulesets 2>/dev/null) ;;
  esac
  COMPREPLY=($(compgen -W "$words" -- "$cur"))
}}
complete -o default -F _sidegate sidegate
"""


def _zsh(commands: tuple[Command, ...]) -> str:
    described = "\n".join(f"      {shlex.quote(f'{command.name}:{command.help}')}" for command in commands)
    offered = ((command.name, " ".join(map(shlex.quote, _words(command).split()))) for command in commands)
    cases = "".join(f"    {name}) offered=({words}) ;;\n" for name, words in offered)
    outs = "".join(f"        {name}) compadd -S '' -- {' '.join(formats)} ;;\n" for name, formats in FORMATS.items())
    return f"""\
#compdef sidegate
# zsh completion of sidegate: source <(sidegate completion zsh)
_sidegate() {{
  local -a offered
  local previous=${{words[CURRENT-1]}}
  if (( CURRENT == 2 )); then
    offered=(
{described}
    )
    _describe -t commands command offered
    compadd -- --help --version
    return
  fi
  case $previous in
    --ruleset) compadd -- ${{(f)"$(sidegate completion --list rulesets 2>/dev/null)"}}; return ;;
    --without) compadd -- ${{(f)"$(sidegate completion --list plugins 2>/dev/null)"}}; return ;;
    --disc) compadd -- {" ".join(DISC_NAMES)}; return ;;
    --tip) compadd -- {" ".join(TIPS)}; return ;;
    --chain) compadd -S '' -- ${{(f)"$(sidegate completion --list chain 2>/dev/null)"}}; return ;;
    --out)
      case ${{words[2]}} in
        check) compadd -S '' -- ${{(f)"$(sidegate completion --list formats 2>/dev/null)"}} ;;
{outs}      esac
      return ;;
    --on) _files; return ;;
    explain) compadd -- ${{(f)"$(sidegate completion --list names 2>/dev/null)"}}; return ;;
    diff) compadd -- ${{(f)"$(sidegate completion --list rulesets 2>/dev/null)"}} ;;
  esac
  case ${{words[2]}} in
{cases}  esac
  compadd -- $offered
  _files
}}
compdef _sidegate sidegate
"""


def _fish(commands: tuple[Command, ...]) -> str:
    lines = ["# fish completion of sidegate: sidegate completion fish | source"]
    first = "complete -c sidegate -n __fish_use_subcommand"
    lines += [f"{first} -f -a {command.name} -d {shlex.quote(command.help)}" for command in commands]
    lines += [f"{first} -l help", f"{first} -l version"]
    for command in commands:
        seen = f"complete -c sidegate -n '__fish_seen_subcommand_from {command.name}'"
        lines += [f"{seen} -f -a {shlex.quote(' '.join(command.choices))}"] if command.choices else []
        lines += [f"{seen} -f -a '(sidegate completion --list names)'"] if command.name == "explain" else []
        if command.name == "rulesets":
            lines.append(
                "complete -c sidegate -n '__fish_seen_subcommand_from diff' -a '(sidegate completion --list rulesets)'"
            )
        for option, help_ in command.options:
            values = _FISH.get(option, "")
            if option == "--out" and command.name == "check":
                values = " -x -a '(sidegate completion --list formats)'"
            elif option == "--out" and command.name in FORMATS:
                values = f" -x -a {shlex.quote(' '.join(FORMATS[command.name]))}"
            lines.append(f"{seen} -l {option.removeprefix('--')} -d {shlex.quote(help_)}{values}")
    return "\n".join(lines) + "\n"


_FISH = {
    "--ruleset": " -x -a '(sidegate completion --list rulesets)'",
    "--chain": " -x -a '(sidegate completion --list chain)'",
    "--without": " -x -a '(sidegate completion --list plugins)'",
    "--on": " -r",
    "--disc": f" -x -a {shlex.quote(' '.join(DISC_NAMES))}",
    "--tip": f" -x -a {shlex.quote(' '.join(TIPS))}",
}
"""option -> the fish words that complete its values"""


def _words(command: Command) -> str:
    return " ".join([*command.choices, *(option for option, _ in command.options)])


_SHELLS: dict[str, Callable[[tuple[Command, ...]], str]] = {"bash": _bash, "zsh": _zsh, "fish": _fish}
