"""The text of a message: short, plain, with the reason, what to do first, and where to tap. Pure.

It waits as facts, and is said for each receiver when it is sent: in the receiver's language and units.
"""

from __future__ import annotations

from dataclasses import dataclass

from logger.alarms.kind import KEEP_CLEAR, Harm, Kind, Priority
from logger.alarms.notify_policy import NotifyReason
from logger.alarms.state import AlarmState
from logger.facts import NOTHING, Fact, Value, fact, in_a_row, sentence
from logger.quantities import minutes, moment
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import Channel, say, shortened

#: Why a message is sent → what its title begins with, behind the mark of its priority.
OPENINGS: dict[NotifyReason, str] = {
    NotifyReason.FIRST_TIME: NOTHING,
    NotifyReason.WORSE: phrase("Worse: "),
    NotifyReason.REALARM: phrase("Still: "),
    NotifyReason.REPEAT_DUE: phrase("Reminder: "),
    NotifyReason.SECOND_PERSON: NOTHING,
    NotifyReason.CHANNEL_FAILED: NOTHING,
    NotifyReason.RETURNED: phrase("Cleared: "),
    NotifyReason.TAKEN: phrase("Answered: "),
}
#: Mark of each priority in a title: words, since colour and sound do not travel in a message.
MARKS: dict[Priority, Fact] = {
    Priority.HIGH: phrase("URGENT: "),
    Priority.MEDIUM: phrase("Soon: "),
    Priority.LOW: phrase("Note: "),
}
#: So many characters of a pour's name are shown in a title, however long the rest is.
LEAST_NAME = 20


@dataclass(frozen=True, slots=True)
class Now:
    """How a pour is: each part that says it, what comes next, and when that was judged (true ms).

    danger: what the danger is, in few words.
    """

    parts: tuple[str, ...]
    expected: str
    danger: Fact
    at_ms: int


@dataclass(frozen=True, slots=True)
class About:
    """What a message is about.

    title: the pour's, or the station's name. link: the alert page. now: how the pour is, where there is something to
    add. leads: whether that is graver than this alarm and stands before it.
    """

    title: str
    link: str | None = None
    now: Now | None = None
    leads: bool = False


@dataclass(frozen=True, slots=True)
class Words:
    """Title and body of one message: facts, one a line, or what is said of them.

    Lines of a title say the same, each shorter than the one before: the first that fits a lock screen is taken.
    """

    title: str
    body: str


def in_words(title: str, body: str, reader: Reader) -> Words:
    """Return a waiting message as its receiver reads it. One of before, in words already, stays as it is."""
    titles = title.split("\n")
    said = next((whole for one in titles if len(whole := say(one, reader)) <= Channel.TITLE), None)
    return Words(said or say(titles[-1], reader, Channel.TITLE), say(body, reader))


def title_in_words(title: str, reader: Reader) -> str:
    """Return the title alone."""
    return in_words(title, NOTHING, reader).title


def words(kind: Kind, state: AlarmState, why: NotifyReason, about: About) -> Words:
    """Return the message on one alarm.

    A later message says everything that an earlier one said, because it may be the only one that gets through.
    """
    over = why in (NotifyReason.RETURNED, NotifyReason.TAKEN)
    lines = [sentence(state.reason) or kind.limit, _because(why, state)]
    if state.late:
        lines.append(phrase("This comes late: the station was out of touch when it happened."))
    if not over:
        within = minutes(kind.respond_within_min)
        lines.append(phrase("Respond within {time}. First: {step}", time=within, step=kind.what_to_do[0]))
        if kind.harm is Harm.SEVERE:
            lines.append(KEEP_CLEAR[0])
    if about.now is not None:
        lines.append(_how_it_is(about.now))
    if about.link:
        lines.append(_what_the_link_is_for(kind, about.link))
    return Words(_title(kind, why, about), "\n".join(line for line in lines if line))


def _title(kind: Kind, why: NotifyReason, about: About) -> str:
    """Return the title: whole, with the alarm's short form, and then with the name cut."""
    return "\n".join(
        _titled(kind, title, name, why, about)
        for title, name in (
            (kind.title, about.title),
            (kind.short, about.title),
            (kind.short, shortened(about.title, LEAST_NAME)),
        )
    )


def _titled(kind: Kind, title: Fact, name: str, why: NotifyReason, about: About) -> Fact:
    if about.now is not None and about.leads:
        return phrase(
            "{mark}{danger} at {time} - {name}. Also: {alarm}",
            mark=MARKS[Priority.HIGH],
            danger=about.now.danger,
            time=moment(about.now.at_ms),
            name=name,
            alarm=title,
        )
    over = why in (NotifyReason.RETURNED, NotifyReason.TAKEN)
    return phrase(
        "{mark}{opening}{alarm} - {name}",
        mark=NOTHING if over else MARKS[kind.priority],
        opening=OPENINGS[why],
        alarm=title,
        name=name,
    )


def _because(why: NotifyReason, state: AlarmState) -> str:
    """Say why the message is sent; nothing where the alarm itself is the reason."""
    who: Value = state.acknowledged_by or fact("somebody")
    if why is NotifyReason.WORSE:
        return phrase("It has got worse since the last message.")
    if why is NotifyReason.REALARM:
        return phrase("{who} is on it, and it has not cleared.", who=who)
    if why is NotifyReason.REPEAT_DUE:
        return phrase("Nobody is on it yet.")
    if why is NotifyReason.SECOND_PERSON:
        return phrase("You get this because nobody has answered it in time.")
    if why is NotifyReason.CHANNEL_FAILED:
        return phrase("You get this because the first addresses cannot be reached.")
    if why is NotifyReason.RETURNED:
        return phrase("It has cleared.")
    return phrase("{who} is on it. You need not go.", who=who) if why is NotifyReason.TAKEN else NOTHING


def _how_it_is(now: Now) -> Fact:
    # The message may wait, and says how it was then.
    whole = [phrase("{part}.", part=part) for part in now.parts]
    how = in_a_row([*whole, *([now.expected] if now.expected else [])])
    return phrase("The pour at {time}: {how}", time=moment(now.at_ms), how=how)


def _what_the_link_is_for(kind: Kind, link: str) -> Fact:
    if kind.name == "look-due":
        return phrase(
            "Dry, wet or later: answer without signing in (in the workshop's network): {link}", link=link
        )
    return phrase("More, and acknowledge (in the workshop's network): {link}", link=link)
