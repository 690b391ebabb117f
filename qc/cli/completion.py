"""`sidegate completion`: a script for bash, zsh or fish that completes commands, options and names.

Commands and options are read off the parser when the script is printed; names of rulesets, checks and measurements
are asked for while one types, with `sidegate completion --list`.
"""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Callable
from typing import NamedTuple, get_args

from qc.cli.main import parser
from qc.cli.streams import emit
from qc.model.discs import DISCS, disc_name
from qc.model.errors import UsageError
from qc.report import registry

FORMATS = {command: tuple(f"{name}=" for name in registry.formats(command)) for command in get_args(registry.Command)}
"""command -> the beginnings of its --out"""
DISC_NAMES = tuple(disc_name(*disc) for disc in DISCS)


class Command(NamedTuple):
    """A command as it is completed."""

    name: str
    help: str
    options: tuple[tuple[str, str], ...]
    """option and help"""
    choices: tuple[str, ...]
    """of its first word, where there are only a few"""


def completion(words: argparse.Namespace) -> int:
    """Print the script for a shell, or a list of names; raises UsageError when neither is named."""
    if words.list is not None:
        emit("".join(f"{name}\n" for name in _LISTS[words.list]()).encode())
        return 0
    if words.shell is None:
        raise UsageError(f"completion: name the shell; there are {', '.join(_SHELLS)}")
    emit(_SHELLS[words.shell](commands()).encode())
    return 0


def commands() -> tuple[Command, ...]:
    """Read the commands off the parser, those with a help text."""
    (several,) = (action for action in _actions(parser()) if isinstance(action, argparse._SubParsersAction))  # noqa: SLF001
    helps = {action.dest: action.help or "" for action in several._choices_actions}  # noqa: SLF001 - argparse tells them nowhere else
    return tuple(_command(name, help_, several.choices[name]) for name, help_ in helps.items())


def _command(name: str, help_: str, its: argparse.ArgumentParser) -> Command:
    options: list[tuple[str, str]] = []
    choices: list[str] = []
    for action in _actions(its):
        if action.help is argparse.SUPPRESS:
            continue
        options += [(option, action.help or "") for option in action.option_strings if option.startswith("--")]
        if not action.option_strings and action.choices is not None:
            choices += [str(choice) for choice in action.choices]
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            options += [option for inner in action.choices.values() for option in _command("", "", inner).options]
    return Command(name, help_, tuple(options), tuple(choices))


def _actions(its: argparse.ArgumentParser) -> list[argparse.Action]:
    return its._actions  # noqa: SLF001 - argparse tells them nowhere else


def _rulesets() -> list[str]:
    from qc import api
    from qc.ruleset.ancestry import is_abstract
    from qc.ruleset.read import read_file

    found = [there for there in api.rulesets() if not is_abstract(read_file(there.path))]
    return sorted({there.name for there in found} | {f"{there.name}@{there.version}" for there in found})


def _names() -> list[str]:
    from qc import api
    from qc.cli.explain import names

    return names(api.build_host())


def _chain() -> list[str]:
    from qc.ruleset.overrides import keys

    return [f"{key}=" for key in keys()]


_LISTS: dict[str, Callable[[], list[str]]] = {"rulesets": _rulesets, "names": _names, "chain": _chain}


def _bash(known: tuple[Command, ...]) -> str:
    cases = "".join(f"    {one.name}) words={shlex.quote(_words(one))} ;;\n" for one in known)
    outs = "".join(
        f"        {command}) words={shlex.quote(' '.join(formats))}; compopt -o nospace 2>/dev/null ;;\n"
        for command, formats in FORMATS.items()
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
    '') words={shlex.quote(" ".join([*(one.name for one in known), "--help", "--version"]))} ;;
{cases}  esac
  case $prev in
    --ruleset) words=$(sidegate completion --list rulesets 2>/dev/null) ;;
    --disc) words={shlex.quote(" ".join(DISC_NAMES))} ;;
    --chain) words=$(sidegate completion --list chain 2>/dev/null); compopt -o nospace 2>/dev/null ;;
    --out)
      words=''
      case $command in
{outs}      esac ;;
    --side|--workers|--patience|--cue|--most|--on) words='' ;;
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


def _zsh(known: tuple[Command, ...]) -> str:
    described = "\n".join(f"      {shlex.quote(f'{one.name}:{one.help}')}" for one in known)
    cases = "".join(
        f"    {one.name}) offered=({' '.join(map(shlex.quote, _words(one).split()))}) ;;\n" for one in known
    )
    outs = "".join(
        f"        {command}) compadd -S '' -- {' '.join(formats)} ;;\n" for command, formats in FORMATS.items()
    )
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
    --disc) compadd -- {" ".join(DISC_NAMES)}; return ;;
    --chain) compadd -S '' -- ${{(f)"$(sidegate completion --list chain 2>/dev/null)"}}; return ;;
    --out)
      case ${{words[2]}} in
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


def _fish(known: tuple[Command, ...]) -> str:
    lines = ["# fish completion of sidegate: sidegate completion fish | source"]
    first = "complete -c sidegate -n __fish_use_subcommand"
    lines += [f"{first} -f -a {one.name} -d {shlex.quote(one.help)}" for one in known]
    lines += [f"{first} -l help", f"{first} -l version"]
    for one in known:
        seen = f"complete -c sidegate -n '__fish_seen_subcommand_from {one.name}'"
        lines += [f"{seen} -f -a {shlex.quote(' '.join(one.choices))}"] if one.choices else []
        lines += [f"{seen} -f -a '(sidegate completion --list names)'"] if one.name == "explain" else []
        if one.name == "rulesets":
            lines.append(
                "complete -c sidegate -n '__fish_seen_subcommand_from diff' -a '(sidegate completion --list rulesets)'"
            )
        for option, help_ in one.options:
            values = _FISH.get(option, "")
            if option == "--out" and one.name in FORMATS:
                values = f" -x -a {shlex.quote(' '.join(FORMATS[one.name]))}"
            lines.append(f"{seen} -l {option.removeprefix('--')} -d {shlex.quote(help_)}{values}")
    return "\n".join(lines) + "\n"


_FISH = {
    "--ruleset": " -x -a '(sidegate completion --list rulesets)'",
    "--chain": " -x -a '(sidegate completion --list chain)'",
    "--on": " -r",
    "--disc": f" -x -a {shlex.quote(' '.join(DISC_NAMES))}",
}
"""option -> how its values are completed"""


def _words(one: Command) -> str:
    return " ".join([*one.choices, *(option for option, _ in one.options)])


_SHELLS: dict[str, Callable[[tuple[Command, ...]], str]] = {"bash": _bash, "zsh": _zsh, "fish": _fish}
