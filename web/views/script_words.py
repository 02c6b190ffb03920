"""What the scripts of the pages say: texts with places in braces, which `words.js` fills in."""

from __future__ import annotations

from logger.words.phrase import phrase
from logger.words.render import say

_TEXTS = {
    # Spans of time, as `logger.words.numbers` writes them.
    "seconds": phrase("{s} s"),
    "minutes": phrase("{m} min"),
    "hours": phrase("{h} h"),
    "hours-minutes": phrase("{h} h {m} min"),
    "days-hours": phrase("{d} d {h} h"),
    "ago": phrase("{span} ago"),
    # live.js
    "no-contact": phrase("No contact with the service for {span}. What you see is old."),
    "alarm": phrase("Alarm. {alarms}"),
    # looks.js
    "look-kept": phrase("Check of the form, {time} ({finding}): saved on this phone, will be sent."),
    "look-needs-sign-in": phrase(
        "Check of the form, {time} ({finding}): saved on this phone. Sign in, and it will be sent."
    ),
    "look-refused": phrase("Check of the form, {time} ({finding}): not saved. {reason}"),
    "service-answers": phrase("The service answers {status}."),
    "look-read": phrase("I have read it"),
    # hold.js
    "being-done": phrase("Being done …"),
    "keep-holding": phrase("Keep holding …"),
    "let-go-too-early": phrase("Let go too early: nothing was done. Hold it until it is full."),
    # push.js
    "push-needs-home-screen": phrase(
        "This browser takes no messages as it is. Some phones do once the page is on the home screen: add it there "
        "from the browser’s menu, open it there, and press the button again."
    ),
    "push-no-background": phrase("This browser refuses to work in the background."),
    "push-not-allowed": phrase(
        "The browser was not allowed to show messages. Allow it in its settings for this page, then press again."
    ),
    "push-unreachable": phrase(
        "The browser could not reach its push service. Is there an Internet connection? ({error})"
    ),
    "on-a-phone": phrase("on a phone"),
    "on-a-computer": phrase("on a computer"),
    # offline.js
    "never-here": phrase("never on this device"),
    "ago-at": phrase("{span} ago, at {time}"),
    # curve.js
    "core": phrase("core"),
    "surface": phrase("surface"),
    "underside": phrase("underside"),
    "room": phrase("room"),
    "range": phrase("90 % range"),
    "forecast": phrase("forecast"),
    "core-planned": phrase("core as planned"),
    "surface-planned": phrase("surface as planned"),
    "underside-planned": phrase("underside as planned"),
    "hours-since-pouring": phrase("hours since pouring"),
    "limit": phrase("limit {limit}"),
    "chart-hottest": phrase(
        "Chart over hours since pouring. Limit {limit}. Hottest core reading so far {hottest}."
    ),
    "chart-unread": phrase("Chart over hours since pouring. Limit {limit}. No core reading yet."),
    "chart-hint-touch": phrase("Touch the curve to read it."),
    "chart-hint": phrase("Point at the curve to read it, or use the arrow keys."),
    "chart-cursor": phrase("Time on the chart"),
    "chart-read": phrase("{clock}, {span} after pouring: {values}."),
    "chart-read-planned": phrase("{span} after pouring: {values}."),
    "chart-no-reading": phrase("no reading"),
    "chart-planned": phrase("{line} {value} (90 % range {low} to {high})"),
    "chart-forecast": phrase("forecast {value} (90 % range {low} to {high})"),
    "chart-mark": phrase("{clock}: {text}"),
    # section.js
    "over": phrase("over {limit}"),
    "read": phrase("{value} read"),
    "cut-planned": phrase(
        "{span} after pouring, as planned: core {core}, surface {surface}, underside {underside}; hottest {hottest}, "
        "limit {limit}."
    ),
    "cut-forecast": phrase(
        "{span} after pouring, as forecast at {at} from the readings: core {core}, surface {surface}, underside "
        "{underside}; hottest {hottest}, limit {limit}."
    ),
    "cut-hottest": phrase("hottest {value}"),
    "cut-refuted": phrase("The probes read something else than this picture shows: do not rely on it."),
    "cut-read": phrase("The probes read then: {readings}."),
    "cut-stretched": phrase("Depth is drawn {times} times larger."),
    "cut-unfetched": phrase("The cross-section could not be fetched. Reload the page to try again."),
}


def script_words() -> dict[str, str]:
    """Return the texts by their names, in the reader's language."""
    return {name: say(text) for name, text in _TEXTS.items()}
