"""The large button of a pour's page: the word of the one thing to do, and where it leads."""

from __future__ import annotations

from dataclasses import dataclass

from logger.alarms.registry import KINDS
from logger.condition.judgement import Condition, Severity
from logger.pour import Stage
from logger.quantities import moment
from logger.words.phrase import phrase
from web.views.one_action import Act, OneAction

#: What each leads to on the pour's own pages, after its address.
_PATHS: dict[Act, str] = {
    Act.LOOK: "/first-hour",
    Act.SIGN: "/ready",
    Act.STATION: "#station",
    Act.POUR: "/stage",
    Act.FULL: "/stage",
    Act.STEP: "#ending",
    Act.NOTE: "#note",
    Act.RECORD: "/record",
}
_WORDS: dict[Act, str] = {
    Act.TAKE: phrase("I’m on it"),
    Act.REMEDIES: phrase("What to do now"),
    Act.LOOK: phrase("Leak check"),
    Act.SEEN: phrase("I have seen it"),
    Act.SIGN: phrase("Sign that it is ready"),
    Act.STATION: phrase("Choose the station"),
    Act.POUR: phrase("Start pouring"),
    Act.FULL: phrase("The form is full and level"),
    Act.STEP: phrase("Next step"),
    Act.NOTE: phrase("Add a note or a photo"),
    Act.RECORD: phrase("Open the record"),
}
#: Steps that one press takes, and that can be taken on from.
_STEPS = {Act.POUR: Stage.POURING, Act.FULL: Stage.WATCHED}


@dataclass(frozen=True, slots=True)
class OneButton:
    """A word, what it is about, and an address: a link's (`href`), or a form's (`post`, with the step in `to`).
    alarm: the one that it names."""

    word: str
    about: str | None = None
    href: str | None = None
    post: str | None = None
    to: Stage | None = None
    alarm: int | None = None

    @property
    def hand(self) -> bool:
        """Whether somebody takes something in hand with it."""
        return self.post is not None and self.to is None


def one_button(
    one: OneAction, pour_id: int, condition: Condition, *, may: bool, step: str | None = None
) -> OneButton | None:
    """Return the button; None for whoever may not press it and has nothing to read either.

    step: the word of the step that follows, where one does.
    """
    pour, alarm = f"/pours/{pour_id}", one.alarm
    about = None if alarm is None or alarm is condition.alarm else KINDS[alarm.kind].title
    if not may:
        if alarm is not None:
            return OneButton(phrase("Open the alarm"), about, href=f"/alarms/{alarm.id}")
        return OneButton(_WORDS[one.act], href=pour + _PATHS[one.act]) if one.act is Act.RECORD else None
    if one.act in (Act.TAKE, Act.SEEN) and alarm is not None:
        return OneButton(_WORDS[one.act], about, post=f"/alarms/{alarm.id}/acknowledge", alarm=alarm.id)
    if one.act is Act.REMEDIES and alarm is not None:
        return OneButton(_WORDS[one.act], about, href=f"/alarms/{alarm.id}")
    if one.act in _STEPS:
        return OneButton(_WORDS[one.act], post=pour + _PATHS[one.act], to=_STEPS[one.act])
    word = _WORDS[one.act]
    if one.act is Act.LOOK:
        if condition.severity >= Severity.BLIND and alarm is None:
            word = phrase("Say what you found")
        elif condition.look_due_ms is not None and condition.look_due_ms > condition.at_ms:
            about = phrase("the next is due {at}", at=moment(condition.look_due_ms))
    return OneButton(word, step if one.act is Act.STEP else about, href=pour + _PATHS[one.act])
