"""The text of a message: short, plain, with the reason, what to do first, and where to tap. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from logger.alarms.definitions.heat import KEEP_CLEAR
from logger.alarms.kind import Harm, Kind, Priority
from logger.alarms.notify_policy import NotifyReason
from logger.alarms.state import AlarmState
from logger.units import minutes_words
from logger.words.old_text import marked
from logger.words.reader import METRIC, Reader
from logger.words.render import say

OPENINGS: dict[NotifyReason, str] = {
    NotifyReason.FIRST_TIME: "",
    NotifyReason.WORSE: "Worse: ",
    NotifyReason.REALARM: "Still: ",
    NotifyReason.REPEAT_DUE: "Reminder: ",
    NotifyReason.SECOND_PERSON: "",
    NotifyReason.CHANNEL_FAILED: "",
    NotifyReason.RETURNED: "Cleared: ",
    NotifyReason.TAKEN: "Answered: ",
}
#: Why the message is sent; {by} is who acknowledged.
BECAUSE: dict[NotifyReason, str] = {
    NotifyReason.FIRST_TIME: "",
    NotifyReason.WORSE: "It has got worse since the last message.",
    NotifyReason.REALARM: "{by} is on it, and it has not cleared.",
    NotifyReason.REPEAT_DUE: "Nobody is on it yet.",
    NotifyReason.SECOND_PERSON: "You get this because nobody has answered it in time.",
    NotifyReason.CHANNEL_FAILED: "You get this because the first addresses cannot be reached.",
    NotifyReason.RETURNED: "It has cleared.",
    NotifyReason.TAKEN: "{by} is on it. You need not go.",
}
#: Mark of each priority in a title: words, since colour and sound do not travel in a message.
MARKS = {Priority.HIGH: "URGENT", Priority.MEDIUM: "Soon", Priority.LOW: "Note"}
#: What a message's link is for, where it is not to acknowledge.
ANSWERS = {"look-due": "Dry, wet or later: answer without signing in"}


@dataclass(frozen=True, slots=True)
class About:
    """What a message is about.

    title: the pour's, or the station's name. link: the alert page. now: how the pour is, and when that was judged;
    lead: what is graver than this alarm and stands before it. Both with marked quantities; empty: nothing to add.
    """

    title: str
    link: str | None = None
    now: str = ""
    lead: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """Title and body of one message."""

    title: str
    body: str


def words(
    kind: Kind,
    state: AlarmState,
    why: NotifyReason,
    about: About,
    units: Reader = METRIC,
) -> Words:
    """Return the message on one alarm, in the workshop's `units`.

    A later message says everything that an earlier one said, because it may be the only one that gets through.
    """
    over = why in (NotifyReason.RETURNED, NotifyReason.TAKEN)
    mark = "" if over else f"{MARKS[kind.priority]}: "
    title = f"{mark}{OPENINGS[why]}{kind.title} - {about.title}"
    if about.lead:
        title = f"{MARKS[Priority.HIGH]}: {say(about.lead, units)} - {about.title}. Also: {kind.title}"
    lines = [say(marked(state.reason or kind.limit), units)]
    because = BECAUSE[why].format(by=state.acknowledged_by or "somebody")
    if because:
        lines.append(because)
    if state.late:
        lines.append("This comes late: the station was out of touch when it happened.")
    if not over:
        within = minutes_words(kind.respond_within_min)
        lines.append(f"Respond within {within}. First: {say(kind.what_to_do[0], units)}")
        if kind.harm is Harm.SEVERE:
            lines.append(KEEP_CLEAR[0])
    if about.now:
        lines.append(say(about.now, units))
    if about.link:
        answer = ANSWERS.get(kind.name, "More, and acknowledge")
        lines.append(f"{answer} (in the workshop's network): {about.link}")
    return Words(title, "\n".join(lines))
