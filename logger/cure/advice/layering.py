"""When each layer may go on: the bond window of its own joint, narrowed until the heat of the whole stack holds.

A second layer lies on resin that is warm, insulates and still reacts: one that is safe by itself may run away there,
most of all when its window has only just opened. So every joint is solved as it would be poured: at the opening and
the close of its window and between, on what lies below it by then, which came early or late itself. What does not hold
is poured later, and where no time holds, in more and thinner layers. The search takes the solver's long steps; its
answer is proven at full accuracy at the hottest of the ways to follow it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from logger.cure.advice.bond import BondWindow, Verdict, bond_window
from logger.cure.advice.limits import MARGIN_K, Reaches, faster_resin
from logger.cure.solver.prediction import (
    LONGEST_AHEAD_H,
    SEEN_K,
    Prediction,
    long_enough,
    predict_coarsely,
    proven_peak_c,
    stop_after_peak,
)
from logger.errors import DidNotConverge, OutOfRange
from logger.facts import Fact, fact
from logger.plan.file import MOST_LAYERS, Layer, Plan
from logger.quantities import hours_alone, length, whole_hours

#: A window shorter than this is none in a shop, h (this project's choice, no standard).
SHORTEST_WINDOW_H = 2.0
#: What "later" is proven for: a layer so much after its window, h.
LATER_H = 48.0
#: Where a joint has to be scuffed: the waits that are tried, in times of when it turns to glass, and the longest, h.
_WAITS, _LONGEST_WAIT_H = (1.0, 1.4, 2.0, 3.0), 336.0
#: So often the long steps' limit comes down to what full accuracy says.
_PROOFS = 3
#: So many more layers than the fewest possible are tried.
_MORE = 4
#: Thinnest layer that is advised, mm.
_THINNEST_MM = 3.0
#: A layer at this hour is in the form's height but never poured.
_NEVER_H = 1e6
#: Parts of a window at which following it is solved: its opening, its middle, its close.
PARTS = (0.0, 0.5, 1.0)
#: Windows are taken so much narrower than they were solved, h: an hour that is printed must not lie on their edge.
_EDGE_H = 0.1


@dataclass(frozen=True)
class Joint:
    """When a layer goes on, h after the layer below it: from from_h to until_h it bonds by itself, later it is scuffed.

    until_h None: it is scuffed from from_h on.
    """

    from_h: float
    until_h: float | None

    def wait_h(self, part: float) -> float:
        """Return the wait at a part of the window; beyond 1: later than it by that many times LATER_H."""
        end = self.from_h + LATER_H if self.until_h is None else self.until_h
        if part <= 1.0:
            return self.from_h + part * (end - self.from_h)
        return end + (part - 1.0) * LATER_H


@dataclass(frozen=True)
class LayerPlan:
    """Layers from the bottom up, mm, what each is poured at (°C; None: the room's), and the joints between them.

    peak_c: the hottest of all ways to follow it, °C; by chance: what nearly all cases of that way stay under.
    """

    depths_mm: tuple[float, ...]
    starts_c: tuple[float | None, ...]
    joints: tuple[Joint, ...]
    peak_c: float

    @property
    def bonds(self) -> bool:
        """Whether every joint has a window in which it bonds by itself."""
        return all(joint.until_h is not None for joint in self.joints)

    def every_h(self) -> tuple[float, float] | None:
        """From and until of one wait that suits every joint; None where there is none."""
        low = max((joint.from_h for joint in self.joints), default=0.0)
        high = min((joint.wait_h(1.0) for joint in self.joints), default=0.0)
        return (low, high) if self.joints and low <= high else None

    def followed(self, plan: Plan, part: float = 0.0) -> Plan:
        """Return the plan poured as advised, each layer at that part of its window, run long enough to see its peak."""
        waits = tuple(joint.wait_h(part) for joint in self.joints)
        return long_enough(_stacked(plan, self.depths_mm, self.starts_c, waits))


@dataclass(frozen=True)
class LayerVerdict:
    """What a planned later layer (2 = the first [[layer]]) will find: its hour, the window, and what it will find."""

    layer: int
    at_h: float
    window: BondWindow
    verdict: Verdict
    message: Fact


def layer_verdicts(plan: Plan) -> list[LayerVerdict]:
    """For each [[layer]] of the plan: is it poured too early, in time, or does it need a scuff?

    One run by the solver's long steps for each layer, of the pour as it is before that layer: the window is that of
    the surface which it meets. When a layer could go on instead is for `advise_layers`, which asks the heat too: a
    window that has just opened may be too early for it. Raises DidNotConverge.
    """
    stack = _Stack(plan, _depths(plan), _starts(plan))  # without a limit: each run to its end
    hours = [layer.at_h for layer in plan.layer]
    waits = tuple(after - before for before, after in zip([0.0, *hours], hours, strict=False))
    verdicts = []
    for number, at_h in enumerate(hours):
        window = stack.window(waits[:number])
        verdict = window.at(at_h)
        verdicts.append(
            LayerVerdict(number + 2, at_h, window, verdict, _message(number + 2, at_h, window, verdict))
        )
    return verdicts


def _message(layer: int, at_h: float, window: BondWindow, verdict: Verdict) -> Fact:
    at = hours_alone(at_h)
    if verdict == "too early":
        if window.opens_h is None:
            return fact("layer-never-gels", layer=layer, at=at)
        return fact("layer-too-early", layer=layer, at=at, gels=whole_hours(window.opens_h))
    if verdict == "scuff":
        return fact("layer-needs-scuff", layer=layer, at=at)
    if window.closes_h is None:
        return fact("layer-bonds", layer=layer, at=at)
    return fact("layer-bonds-until", layer=layer, at=at, closes=whole_hours(window.closes_h))


def equal_layers(total_mm: float, deepest_mm: float, fewest: int = 1) -> tuple[float, ...]:
    """Equal layers, none deeper than the deepest allowed and no fewer than `fewest`: ⌈total / deepest⌉ of them, mm.

    Up to a tenth of a millimetre each, so that what is printed is what was solved. Raises OutOfRange.
    """
    for name, value in ((fact("depth-of-pour"), total_mm), (fact("deepest-layer"), deepest_mm)):
        if not (math.isfinite(value) and value > 0.0):
            raise OutOfRange(
                name,
                fact("cannot-be-used"),
                value=value,
                allowed=fact("above-depth", least=length(0.0, 0)),
                remedy=fact("take-from-sheet-or-prediction"),
            )
    count = max(fewest, math.ceil(total_mm / deepest_mm - 1e-9))
    while (each := math.ceil(10.0 * total_mm / count - 1e-6) / 10.0) > max(deepest_mm, 0.1) + 1e-9:
        count += 1
    return (each,) * count


def advise_layers(
    plan: Plan, deepest_mm: float, *, faster: float = 1.0, reaches: Reaches | None = None
) -> LayerPlan | None:
    """Layers of this plan's whole depth that keep its limit however the advice is followed; None where there are none.

    deepest_mm: no layer is deeper. The plan's own layers come first where they are shallow enough, then equal ones,
    the fewest that hold. Joints that bond by themselves are preferred to fewer that must be scuffed. reaches: what a
    stack is taken to reach (see limits.Reaches); faster: how many times faster its resin cures that reaches about as
    much by itself, for the search: the heat is that one's, the bond windows are those of the plan as it is.
    Raises DidNotConverge.
    """
    depths = _depths(plan)
    stacks: list[_Stack] = []
    if len(depths) > 1 and max(depths) <= deepest_mm:
        stacks.append(_Stack(plan, depths, _starts(plan), faster))
    fewest = max(len(equal_layers(sum(depths), deepest_mm)), 2)
    for count in range(fewest, min(fewest + _MORE, MOST_LAYERS) + 1):
        equal = equal_layers(sum(depths), deepest_mm, count)
        if equal[0] >= _THINNEST_MM:
            stacks.append(_Stack(plan, equal, (_warmest_start_c(plan),) * len(equal), faster))
    # A layer that needs no scuff is worth another layer; what must be scuffed is asked only where nothing else holds.
    for scuffed in (False, True):
        for stack in stacks:
            layers = _times_for(stack, reaches, scuffed=scuffed)
            if layers is not None:
                return layers
    return None


def _times_for(stack: _Stack, reaches: Reaches | None, *, scuffed: bool) -> LayerPlan | None:
    """Return the joints of these layers that hold, proven; None where no times do."""
    limit = stack.plan.resin.limits.max_core_c
    stack.limit_c = limit - MARGIN_K
    for _ in range(_PROOFS):
        joints = stack.joints(scuffed=scuffed)
        if joints is None:
            return None
        layers = LayerPlan(stack.depths, stack.starts, joints, -math.inf)
        hottest = stack.poured(stack.hottest_way(joints))
        peak_c = proven_peak_c(hottest, limit) if reaches is None else reaches(hottest)
        if peak_c <= limit:
            return replace(layers, peak_c=peak_c)
        # Full accuracy says more than the long steps did: their limit comes down by as much, and a little.
        stack.limit_c -= min(peak_c - limit, 5.0) + MARGIN_K
    return None


@dataclass
class _Stack:
    """Layers of these depths on this plan's form; limit_c: what the long steps must stay under, of a resin that cures
    so many times faster."""

    plan: Plan
    depths: tuple[float, ...]
    starts: tuple[float | None, ...]
    faster: float = 1.0
    limit_c: float = math.inf
    _runs: dict[tuple[float, ...], Prediction] = field(default_factory=dict)
    _peaks: dict[tuple[float, ...], float] = field(default_factory=dict)

    def run(self, waits: tuple[float, ...]) -> Prediction:
        """Return the first layers poured after these waits, the others not yet: by long steps, far enough to see
        the peak.
        """
        if waits not in self._runs:
            poured = self.poured(waits)
            stop = stop_after_peak(poured, self.limit_c + SEEN_K)
            if len(waits) + 1 < len(self.depths):
                # Of a part of the stack it is asked, too, what the next layer finds on it.
                stop = replace(stop, cured=math.inf)
            self._runs[waits] = predict_coarsely(poured, stop=stop)
        return self._runs[waits]

    def peak_c(self, waits: tuple[float, ...]) -> float:
        """Return what the first layers reach, poured after these waits, °C: by long steps, of the faster resin."""
        if self.faster == 1.0:
            return self.run(waits).peak_c
        if waits not in self._peaks:
            quick = faster_resin(self.poured(waits), self.faster)
            self._peaks[waits] = predict_coarsely(
                quick, stop=stop_after_peak(quick, self.limit_c + SEEN_K)
            ).peak_c
        return self._peaks[waits]

    def poured(self, waits: tuple[float, ...]) -> Plan:
        """Return the plan with the first layers poured after these waits, run far enough; the others never."""
        count = len(waits) + 1
        done = long_enough(_stacked(self.plan, self.depths[:count], self.starts[:count], waits))
        later = [
            Layer.model_construct(at_h=_NEVER_H + number, depth_mm=depth, start_c=None)
            for number, depth in enumerate(self.depths[count:])
        ]
        return done.model_copy(update={"layer": [*done.layer, *later]})

    def window(self, waits: tuple[float, ...]) -> BondWindow:
        """Return the bond window of the layer that comes after these, h after the first pour."""
        return bond_window(self.poured(waits), self.run(waits))

    def holds(self, waits: tuple[float, ...]) -> bool:
        """Whether these layers keep the limit; a runaway that cannot be solved does not."""
        try:
            return self.peak_c(waits) <= self.limit_c
        except DidNotConverge:
            return False

    def joints(self, *, scuffed: bool) -> tuple[Joint, ...] | None:
        """Return a joint for each later layer that holds whenever it is poured within it, or None.

        Two histories are followed, the next window must suit both: in one the top layer came as early as it may, in
        the other as late. Below it they alternate, which is the worse: a layer that came late has kept its heat for
        the one that comes early on it, so that one cures the soonest, and the other way round the latest.
        """
        joints: list[Joint] = []
        early: tuple[float, ...] = ()
        late: tuple[float, ...] = ()
        if not self.holds(()):
            return None
        for _ in self.depths[1:]:
            joint = self._joint(early, late, scuffed=scuffed)
            if joint is None:
                return None
            joints.append(joint)
            early, late = (*late, joint.wait_h(0.0)), (*early, joint.wait_h(1.0))
        every_joint = tuple(joints)
        return every_joint if all(self.holds(waits) for waits in self._ways(every_joint)) else None

    def _ways(self, joints: Sequence[Joint]) -> list[tuple[float, ...]]:
        """Wait at which following these joints is solved: every layer at the same part of its window, and early and
        late by turns; in a room that changes, later ones too."""
        parts = PARTS if len(self.plan.room_schedule()) == 1 else (*PARTS, 0.25, 0.75, 1.5, 2.0)
        turns = [
            tuple(joint.wait_h(float((number + last) % 2)) for number, joint in enumerate(joints))
            for last in (0, 1)
        ]
        ways = [tuple(joint.wait_h(part) for joint in joints) for part in parts]
        return list(dict.fromkeys([*turns, *ways]))

    def hottest_way(self, joints: Sequence[Joint]) -> tuple[float, ...]:
        """Return the waits at which following these joints is hottest."""
        return max(self._ways(joints), key=self.peak_c)

    def _joint(self, early: tuple[float, ...], late: tuple[float, ...], *, scuffed: bool) -> Joint | None:
        windows = [(sum(waits), self.window(waits)) for waits in ({early, late})]
        opens = [math.inf if w.opens_h is None else w.opens_h - at for at, w in windows]
        closes = [math.inf if w.closes_h is None else w.closes_h - at for at, w in windows]
        if math.isinf(max(opens)):
            return None
        step = _step_h(max(opens))
        low = step * math.ceil((max(opens) + _EDGE_H) / step)
        high = step * math.floor((min(min(closes), low + LONGEST_AHEAD_H) - _EDGE_H) / step)
        if high - low >= SHORTEST_WINDOW_H:
            begins = self._earliest(late, low, high - SHORTEST_WINDOW_H, step)
            if begins is not None and self.holds((*early, high)):
                return Joint(begins, high)
        return None if not scuffed else self._scuffed(early, late, max(max(closes), max(opens)), step)

    def _earliest(self, below: tuple[float, ...], low: float, high: float, step: float) -> float | None:
        """Return the earliest wait from low to high, in steps, from which on the limit is kept; None where it is
        not.
        """
        if self.holds((*below, low)):
            return low
        if high <= low or not self.holds((*below, high)):
            return None
        # A quarter of what is left is near enough: each cut is a run.
        near = max(step, 0.25 * (high - low))
        while high - low > near + 1e-9:
            middle = low + step * max(round((high - low) / 2.0 / step), 1)
            if self.holds((*below, middle)):
                high = middle
            else:
                low = middle
        return high

    def _scuffed(
        self, early: tuple[float, ...], late: tuple[float, ...], glass_h: float, step: float
    ) -> Joint | None:
        """Return the joint of a layer that waits until the one below is glass, and cool and cured enough for the
        heat.
        """
        if math.isinf(glass_h):
            return None
        for times in _WAITS:
            wait = step * math.ceil(glass_h * times / step - 1e-9)
            if wait > _LONGEST_WAIT_H:
                return None
            joint = Joint(wait, None)
            if self.holds((*late, wait)) and self.holds((*early, joint.wait_h(1.0))):
                return joint
        return None


def _depths(plan: Plan) -> tuple[float, ...]:
    return (plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer))


def _starts(plan: Plan) -> tuple[float | None, ...]:
    return (plan.pour.start_c, *(layer.start_c for layer in plan.layer))


def _warmest_start_c(plan: Plan) -> float | None:
    """Return the warmest that the plan pours any of its layers, °C; None: the room's temperature."""
    given = [start for start in _starts(plan) if start is not None]
    warmest_room = max(c for _, c in plan.room_schedule())
    return max(given) if given and (len(given) == len(_starts(plan)) or max(given) > warmest_room) else None


def _step_h(wait_h: float) -> float:
    """Return what a wait is rounded to, so that what is printed was solved, h."""
    return 1.0 if wait_h >= 8.0 else 0.5 if wait_h >= 2.0 else 0.25


def _stacked(
    plan: Plan, depths: Sequence[float], starts: Sequence[float | None], waits: Sequence[float]
) -> Plan:
    """Return the plan with these layers instead of its own, each after its wait."""
    pour = plan.pour.model_copy(update={"depth_mm": depths[0], "start_c": starts[0]})
    at_h, layers = 0.0, []
    for depth, start_c, wait in zip(depths[1:], starts[1:], waits, strict=True):
        at_h += wait
        layers.append(Layer.model_construct(at_h=at_h, depth_mm=depth, start_c=start_c))
    return plan.model_copy(update={"pour": pour, "layer": layers})
