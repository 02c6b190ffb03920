"""The words of a message: short, plain, with the reason, what to do first, and where to tap. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from logger.alarms.kind import Harm, Kind, Priority
from logger.alarms.state import State
from logger.alarms.table_heat import KEEP_CLEAR
from logger.alarms.telling import TellWhy
from logger.quantities import METRIC, Units, marked

OPENINGS: dict[TellWhy, str] = {
    TellWhy.FIRST_TIME: "",
    TellWhy.WORSE: "Worse: ",
    TellWhy.REALARM: "Still: ",
    TellWhy.REPEAT_DUE: "Again: ",
    TellWhy.SECOND_PERSON: "",
    TellWhy.CHANNEL_FAILED: "",
    TellWhy.RETURNED: "Over: ",
    TellWhy.TAKEN: "Taken: ",
}
#: Why you hear of it; {by} is who acknowledged.
BECAUSE: dict[TellWhy, str] = {
    TellWhy.FIRST_TIME: "",
    TellWhy.WORSE: "It has got worse since the last message.",
    TellWhy.REALARM: "It was taken by {by}, and it is still true.",
    TellWhy.REPEAT_DUE: "Nobody has acknowledged it yet.",
    TellWhy.SECOND_PERSON: "You are told because nobody has acknowledged it in time.",
    TellWhy.CHANNEL_FAILED: "You are told because the first addresses cannot be reached.",
    TellWhy.RETURNED: "It is no longer true.",
    TellWhy.TAKEN: "{by} has it in hand. You need not go.",
}
#: Mark of each priority in a title: words, since colour and sound do not travel in a message.
MARKS = {Priority.HIGH: "URGENT", Priority.MEDIUM: "Soon", Priority.LOW: "Note"}


@dataclass(frozen=True, slots=True)
class Words:
    """Title and body of one message."""

    title: str
    body: str


def words(
    kind: Kind, state: State, why: TellWhy, about: str, link: str | None = None, units: Units = METRIC
) -> Words:
    """The message on one alarm. `about`: the pour's title, or the station's name; `link`: the alert page; `units`: the
    workshop's.

    A later message says everything that an earlier one said, because it may be the only one that gets through.
    """
    over = why in (TellWhy.RETURNED, TellWhy.TAKEN)
    mark = "" if over else f"{MARKS[kind.priority]}: "
    title = f"{mark}{OPENINGS[why]}{kind.title} - {about}"
    lines = [units.shown(marked(state.reason or kind.limit))]
    because = BECAUSE[why].format(by=state.acknowledged_by or "somebody")
    if because:
        lines.append(because)
    if state.late:
        lines.append("This comes late: the station was out of touch when it happened.")
    if not over:
        lines.append(f"First: {units.shown(kind.what_to_do[0])}")
        if kind.harm is Harm.SEVERE:
            lines.append(KEEP_CLEAR[0])
    if link:
        lines.append(f"More, and acknowledge (in the workshop's network): {link}")
    return Words(title, "\n".join(lines))
