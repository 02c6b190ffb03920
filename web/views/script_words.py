"""What the scripts of the pages say: texts with places in braces, which `words.js` fills in."""

from __future__ import annotations

from logger.words.phrase import phrase
from logger.words.render import say

_TEXTS = {
    # Spans of time, as `logger.words.numbers` writes them.
    "seconds": phrase("{s} s"),
    "minutes": phrase("{m} min"),
    "hours": phrase("{h} h"),
    "hours_minutes": phrase("{h} h {m} min"),
    "days_hours": phrase("{d} d {h} h"),
    "ago": phrase("{span} ago"),
    # live.js
    "no_contact": phrase("No contact with the service for {span}. What you see is old."),
    "alarm": phrase("Alarm. {alarms}"),
    # looks.js
    "look_kept": phrase("Look of {time} ({finding}): kept on this phone, will be sent."),
    "look_needs_sign_in": phrase(
        "Look of {time} ({finding}): kept on this phone. Sign in, and it will be sent."
    ),
    "look_refused": phrase("Look of {time} ({finding}): not taken. {reason}"),
    "service_answers": phrase("The service answers {status}."),
    "look_read": phrase("I have read it"),
    # hold.js
    "being_done": phrase("Being done …"),
    "keep_holding": phrase("Keep holding …"),
    "let_go_too_early": phrase("Let go too early: nothing was done. Hold it until it is full."),
    # push.js
    "push_needs_home_screen": phrase(
        "This browser takes no messages as it is. Some phones do once the page is on the home screen: add it there "
        "from the browser’s menu, open it there, and press the button again."
    ),
    "push_no_background": phrase("This browser refuses to work in the background."),
    "push_not_allowed": phrase(
        "The browser was not allowed to show messages. Allow it in its settings for this page, then press again."
    ),
    "push_unreachable": phrase(
        "The browser could not reach its push service. Is there an Internet connection? ({error})"
    ),
    "on_a_phone": phrase("on a phone"),
    "on_a_computer": phrase("on a computer"),
    # offline.js
    "never_here": phrase("never on this device"),
    "ago_at": phrase("{span} ago, at {time}"),
    # curve.js
    "core": phrase("core"),
    "surface": phrase("surface"),
    "underside": phrase("underside"),
    "room": phrase("room"),
    "range": phrase("90 % range"),
    "forecast": phrase("forecast"),
    "core_planned": phrase("core as planned"),
    "surface_planned": phrase("surface as planned"),
    "underside_planned": phrase("underside as planned"),
    "hours_since_pouring": phrase("hours since pouring"),
    "limit": phrase("limit {limit}"),
    "chart_hottest": phrase(
        "Chart over hours since pouring. Limit {limit}. Hottest core reading so far {hottest}."
    ),
    "chart_unread": phrase("Chart over hours since pouring. Limit {limit}. No core reading yet."),
    # section.js
    "over": phrase("over {limit}"),
    "read": phrase("{value} read"),
    "cut_planned": phrase(
        "{span} after pouring, as planned: core {core}, surface {surface}, underside {underside}; hottest {hottest}, "
        "limit {limit}."
    ),
    "cut_forecast": phrase(
        "{span} after pouring, as forecast at {at} from the readings: core {core}, surface {surface}, underside "
        "{underside}; hottest {hottest}, limit {limit}."
    ),
    "cut_refuted": phrase("The probes read something else than this picture shows: do not rely on it."),
    "cut_read": phrase("The probes read then: {readings}."),
    "cut_stretched": phrase("Depth is drawn {times} times larger."),
    "cut_unfetched": phrase("The cross-section could not be fetched. Reload the page to try again."),
}


def script_words() -> dict[str, str]:
    """Return the texts by their names, in the reader's language."""
    return {name: say(text) for name, text in _TEXTS.items()}
