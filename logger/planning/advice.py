"""What `pourlog advise` answers: how deep, in which rooms, in which layers, and what cooling buys.

The deepest layer and the layers come from the same searches as the plan's assessment: one search, one answer.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
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
from logger.planning.cure_answers import CureAnswers, ask_cure
from logger.planning.findings.layers import advised_layers


@dataclass(frozen=True, slots=True)
class Advice:
    """The answers, each solved as it would be followed.

    in_room: the deepest layer in the room `room_words` that the datasheet allows, where it refuses the plan's own.
    """

    deepest: DeepestLayer
    room_words: str
    in_room: DeepestLayer | None
    rooms: Rooms
    gains: tuple[Gain, ...]
    cure: CureAnswers
    layers: str

    def sentences(self) -> list[str]:
        """Return the answers: what was assumed, how deep, in which rooms, in which layers."""
        texts: list[str] = [*self.cure.assumed, self.deepest.message()]
        if self.in_room is not None and isinstance(self.room_words, Fact):
            room, answer = self.room_words.values["room"], self.in_room.message()
            texts.append(fact("advice-in-sheet-room", room=room, answer=answer))
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
        }


def advise(plan: Plan, faster: float = 1.0) -> Advice:
    """Every answer for this plan; faster: how many times faster than planned the resin may cure.

    Half a minute or more. Raises OutOfRange, DidNotConverge.
    """
    allowed, room_words = in_allowed_room(plan)
    quick = faster_resin(plan, faster)
    cure = ask_cure(quick)
    return Advice(
        deepest_safe(plan, faster=faster),
        room_words,
        deepest_safe(allowed, faster=faster) if room_words else None,
        rooms(plan, faster=faster),
        tuple(gains(plan, faster=faster)),
        cure,
        advised_layers(quick, cure) if cure.layers_asked else "",
    )
