"""What `pourlog advise` answers: how deep, in which rooms, in which layers, and what cooling buys.

The deepest layer and the layers come from the same searches as the plan's assessment: one search, one answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any

from logger.cure.advice.limits import (
    DeepestLayer,
    Gain,
    Rooms,
    deepest_safe,
    faster_resin,
    gains,
    in_allowed_room,
    rooms,
)
from logger.facts import Fact, fact
from logger.plan.file import Plan
from logger.planning.chances import GREEN_BELOW, RED_ABOVE, Chances, quick_chances, sure_peak_c
from logger.planning.cure_answers import CureAnswers, ask_cure
from logger.planning.findings.layers import advised_layers
from logger.quantities import at_most, length

#: Chances to pass the limit for which a depth is told: as good as safe, refused from here on, even.
CHANCES = (GREEN_BELOW, RED_ABOVE, 0.5)


@dataclass(frozen=True, slots=True)
class Advice:
    """The answers, each solved as it would be followed.

    in_room: the deepest layer in the room `room_words` that the datasheet allows, where it refuses the plan's own.
    depths: for each chance to pass the limit the deepest layer that stays below it, mm; None where none does.
    """

    deepest: DeepestLayer
    room_words: str
    in_room: DeepestLayer | None
    rooms: Rooms
    gains: tuple[Gain, ...]
    cure: CureAnswers
    layers: str
    depths: Mapping[float, float | None]

    def sentences(self) -> list[str]:
        """Return the answers: what was assumed, how deep, in which rooms, in which layers."""
        texts: list[str] = [*self.cure.assumed, self.deepest.message()]
        if self.in_room is not None and isinstance(self.room_words, Fact):
            room, answer = self.room_words.values["room"], self.in_room.message()
            texts.append(fact("advice-in-sheet-room", room=room, answer=answer))
        even = [self.depths[chance] for chance in CHANCES[1:]]
        if None not in even:
            texts.append(
                fact(
                    "deeper-at-chances",
                    **{
                        f"{word}_depth": at_most(length(depth or 0.0, None))
                        for word, depth in zip(("quarter", "half"), even, strict=True)
                    },
                )
            )
        texts.append(self.rooms.message())
        return [*texts, self.layers] if self.layers else texts

    def to_json(self) -> dict[str, Any]:
        """Return the answers as plain JSON types."""
        layers = self.cure.layers
        return {
            "assumed": list(self.cure.assumed),
            "deepest": asdict(self.deepest) | {"message": self.deepest.message()},
            "in_allowed_room": None
            if self.in_room is None
            else (asdict(self.in_room) | {"room": self.room_words, "message": self.in_room.message()}),
            "rooms": asdict(self.rooms) | {"message": self.rooms.message()},
            "layers": None if layers is None else asdict(layers) | {"message": self.layers},
            "gains": [asdict(gain) for gain in self.gains],
            "depths_at_chance": [
                {"chance": chance, "deepest_mm": depth} for chance, depth in self.depths.items()
            ],
        }


def advise(plan: Plan, faster: float = 1.0) -> Advice:
    """Every answer for this plan, with a chance below GREEN_BELOW to pass the limit; faster: how many times faster
    than planned the resin may cure.

    Half a minute or more. Raises OutOfRange, DidNotConverge.
    """
    allowed, room_words = in_allowed_room(plan)
    quick = faster_resin(plan, faster)
    cure = ask_cure(quick)
    of_depth: dict[float, Chances] = {}

    def reaches(single: Plan, part: float) -> float:
        depth = single.pour.depth_mm
        if depth not in of_depth:
            of_depth[depth] = quick_chances(single)
        return of_depth[depth].peak_c(part)

    # The three searches share their solutions.
    at = [
        deepest_safe(plan, faster=faster, reaches=partial(reaches, part=1.0 - chance), chance=chance)
        for chance in CHANCES
    ]
    return Advice(
        at[0],
        room_words,
        deepest_safe(allowed, faster=faster, reaches=sure_peak_c, chance=GREEN_BELOW) if room_words else None,
        rooms(plan, faster=faster, reaches=sure_peak_c, chance=GREEN_BELOW),
        tuple(gains(plan, faster=faster, reaches=sure_peak_c, chance=GREEN_BELOW)),
        cure,
        advised_layers(quick, cure) if cure.layers_asked else "",
        {chance: one.bracket.safe for chance, one in zip(CHANCES, at, strict=True)},
    )
