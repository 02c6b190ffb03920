"""Readiness: the points to sign before a pour, and what is left to do at each."""

from __future__ import annotations

from logger.words.english.plural import Plural

ENGLISH: dict[str, str | Plural] = {
    # ---- what each point asks ----
    "ask-depth": "Is the depth of each layer allowed, and is the predicted peak below the limit?",
    "ask-volume": "Are there enough of both parts on the bench for this volume?",
    "ask-ratio": ("Has the ratio been read twice, with its measure (weight or volume), off both labels?"),
    "ask-batches": "Are there enough pails, scales and hands to mix and pour in time?",
    "ask-room": "Is the room within the limits now, and will it stay so through the night?",
    "ask-air": "Is the air dry enough, and is every surface warmer than its dew point?",
    "ask-moisture": 'Is "{slab}" dry all through?',
    "ask-edge": 'Are bark, dust and loose skin off "{slab}", down to sound wood?',
    "ask-void": 'Is "{void}" taped from below, with a backing board over the tape?',
    "ask-layers": "Does everybody know when the next layer may go on, and when to scuff?",
    "ask-sun": "Is the form out of the sun all day long?",
    "ask-colour": "Has a cup at full depth been looked at?",
    "ask-heat-tool": "Does everybody who holds the heat gun know how short a pass is?",
    "ask-form": "Has the form been looked at twice from below: supports, span, braces, level?",
    "ask-seams": "Are all seams sealed and tested, and is the release coating on?",
    "ask-clamps": "Are the slabs held down against floating up?",
    "ask-people": "Who pours, who checks, and who looks in the first hour?",
    "ask-protection": "Gloves, eye protection and fresh air, as the makers' safety data sheets ask?",
    "ask-fire": ("If it smokes: does everybody know to leave, shut the door and call the fire service?"),
    "ask-leak-kit": "Is the leak kit at hand: tape, silicone or hot glue, rags, a tray?",
    "ask-watch": "Do all probes read, and does a message reach a phone?",
    # ---- how the same person looks again ----
    "again-ratio": "read it off the other part's label",
    "again-form": "look from the other end of the form",
    "again-seams": "test from the other end of the form",
    # ---- what is kept with the signature ----
    "evidence-none": "none",
    "evidence-photo": "photo",
    "evidence-meter": "photo of the meter on the wood",
    "evidence-from-below": "photo from below",
    "evidence-underside": "photo of the underside",
    # ---- who there is ----
    "nobody-named": "Nobody is named. Name who pours and who checks.",
    "one-person": (
        "One person: what two should look at, the same one looks at again, at least {wait} later and with a photo."
    ),
    "checked-twice": "checked twice by the same person, {apart} apart, photo {photo}",
    # ---- what is left to do ----
    "left-at-point": "{question} {left}",
    "left-one-person": "Not signed yet: needs a person.",
    "left-two-people": "Not signed yet: needs two people.",
    "left-one-more": "Not signed yet: needs one more person.",
    "left-one-more-or-again": (
        "Not signed yet: needs one more person, or yours again after {wait}: {again}, with a photo."
    ),
    "left-photo": "The {evidence} is missing.",
    "left-unknown": "Not known: {unknown} Make it known, or sign it as open with a reason.",
    "left-unknown-above": "Make it known, or sign it as open with a reason.",
    "left-blocked": "Blocked: {why} Fix it, or sign an exception by name and reason.",
    "left-blocked-above": "Blocked. Fix it, or sign an exception by name and reason.",
    # ---- what is refused ----
    "exception-at": "exception at {point}",
    "has-no-person": "has no person",
    "has-no-reason": "has no reason",
    "name-and-reason": "a name and a reason in words",
    "give-the-person": "give the person",
    "give-the-reason": "give the reason",
}
