"""The documents of a side compared with each other."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from qc.plugin_api import AsReceived, Check, CheckContext, Finding, ForClient, Model, NotApplicableError


class PapersDisagreeLimits(Model):
    """No limits: two statements contradict each other or not."""


class PapersDisagree(Check[PapersDisagreeLimits]):
    """Two statements of the delivery documents contradict each other."""

    id = "delivery.papers-disagree"
    title = "The documents contradict each other"
    why = (
        "The inscription is what the plant tells the sides apart by: a wrong one sends the wrong side to press. An "
        "approval that is older than the transfer approves something else."
    )
    how = (
        "The inscription must hold the catalogue number and the id of its side. No approval may be dated before the "
        "transfer of the same source, be older than the file was last changed, or recommend more than the recommended "
        "level of the groove."
    )
    remedy = "Ask who wrote them which of the two is right, and correct the delivery."
    client = ForClient(
        name="Two things in your documents do not fit together",
        means=(
            "What is to be engraved beside the label, or what was approved, does not fit the rest of what you sent. "
            "If we followed the wrong one, sides could be mixed up, or something could be cut that nobody has "
            "approved."
        ),
        asks="Please tell us which of the two is right.",
    )
    blind_to = "Documents that agree with each other and are both wrong; a copy of the file that was given a new date."
    needs = (AsReceived,)
    Limits = PapersDisagreeLimits

    def evaluate(self, ctx: CheckContext) -> Iterable[Finding]:
        """Compare inscription and approvals; raises NotApplicableError where the delivery has neither."""
        inscription, source = ctx.declared.get("inscription"), ctx.declared.get("source", {})
        approvals = source.get("approvals", ())
        if inscription is None and not approvals:
            raise NotApplicableError("there is neither an inscription nor an approval to compare")
        if inscription is not None:
            yield from _inscription(ctx, str(inscription))
        for i, approval in enumerate(approvals):
            yield from _date(ctx, approval, source.get("transferred_on"), ("source", "approvals", i, "on"))
        for i, approval in enumerate(approvals):
            yield from _level(ctx, approval, ("source", "approvals", i, "recommended_level"))


def _inscription(ctx: CheckContext, written: str) -> Iterator[Finding]:
    catalogue, rest = ctx.delivery.get("catalogue"), written
    if catalogue is not None:
        place = _find_number(str(catalogue), written)
        if place is None:
            yield _about(ctx, f'the inscription "{written}" does not hold the catalogue number {catalogue}', written)
        else:
            rest = f"{written[: place[0]]} {written[place[1] :]}"
    side = ctx.side.casefold()
    words = re.split(r"[\W_]+", rest.casefold())
    if not any(word == side or (word.startswith(side) and word[len(side) :].isdigit()) for word in words):
        yield _about(ctx, f'the inscription "{written}" does not name its side, {ctx.side}', f"{written}, side")


def _find_number(catalogue: str, written: str) -> tuple[int, int] | None:
    """Return start and end index of the catalogue number in an inscription, or None.

    Spaces, hyphens and capitals are the engraver's. Letters and digits alone are compared, so that the work grows with
    the length of the inscription, whatever it holds.
    """
    letters = "".join(char.casefold()[:1] for char in catalogue if char.isalnum())
    places = [index for index, char in enumerate(written) if char.isalnum()]
    first = "".join(written[index].casefold()[:1] for index in places).find(letters) if letters else -1
    return None if first < 0 else (places[first], places[first + len(letters) - 1] + 1)


def _about(ctx: CheckContext, message: str, key: str) -> Finding:
    return ctx.found("warn", message, measured=key, field=("inscription",))


def _date(
    ctx: CheckContext, approval: Mapping[str, Any], transferred: str | None, field: tuple[str | int, ...]
) -> Iterator[Finding]:
    on, changed = str(approval["on"]), ctx[AsReceived].changed  # year, month, day: in order as text
    if transferred is not None and on < transferred:
        message = f"the approval by {approval['by']} is of {on}, before the transfer of {transferred}"
        yield ctx.found("warn", message, measured=on, field=field)
    elif on < changed:
        message = f"the approval by {approval['by']} is of {on}, older than the file, last changed on {changed}"
        yield ctx.found("warn", message, measured=on, field=field)


def _level(ctx: CheckContext, approval: Mapping[str, Any], field: tuple[str | int, ...]) -> Iterator[Finding]:
    asked = approval.get("recommended_level")
    if asked is None:
        return
    groove = ctx.measured("groove.recommended_level")
    if groove.bound != ">" and float(asked) > groove.value + 1e-9:
        message = f"the approval by {approval['by']} recommends {float(asked):+.1f} dB, and the groove allows {groove}"
        yield ctx.found("warn", message, measured=groove, field=field)
