"""A plan drawn: its section to scale, and when each layer goes on. Dimensions in, SVG out. Pure.

Every length of a drawing is drawn by one scale in both directions. What would be too thin to read is drawn once more,
larger, in a window of its own that says how many times larger.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from markupsafe import Markup, escape

from logger.plan.file import Plan
from logger.quantities import length, typed_length
from logger.words.phrase import phrase
from logger.words.reader import Reader
from logger.words.render import say

#: Room for the depth's dimension at the left, and a margin at the right, px.
GUTTER, MARGIN = 78.0, 10.0
#: Tallest section, thinnest layer with room for its number, lowest section with room for its probes, px.
TALLEST, THINNEST, LOWEST = 260.0, 20.0, 34.0
#: Height aimed at for the window, px, and how many times larger it may be drawn.
WINDOW, TIMES = 120.0, (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50)
#: Slab shown beside the pour, as a part of its width and in mm: the rest is cut off by a broken line.
BESIDE, LEAST_BESIDE, MOST_BESIDE = 0.3, 40.0, 200.0
#: Wall of a round mould where the plan gives none, mm; piece of a sheet that has no width, times its depth.
WALL, PIECE = 18.0, 12.0
#: Depth below the upper face at which the surface's probe lies, mm.
SURFACE_DOWN = 2.0
#: Lengths of a scale bar: mm, and inches.
BARS_MM = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
BARS_IN = tuple(25.4 * inches for inches in (0.5, 1.0, 2.0, 4.0, 6.0, 12.0, 24.0, 48.0))


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside the resin, mm. said: whether the plan gives it; goes_on: whether it is wider than drawn."""

    name: str
    thickness: float
    width: float
    said: bool = True


@dataclass(frozen=True, slots=True)
class Cut:
    """The cross-section of a plan, mm. layers: depths from the bottom up; bottom_width: of the resin at its bottom.

    goes_on: a sheet without a width, of which a piece is drawn.
    """

    shape: str
    width: float
    bottom_width: float
    layers: tuple[float, ...]
    beside: tuple[Beside, Beside] | None
    panel: float
    underside: str | None
    goes_on: bool = False

    @property
    def depth(self) -> float:
        """All layers together."""
        return sum(self.layers)


def cut_of(plan: Plan) -> Cut:
    """Return the cross-section that a plan describes."""
    layers = (plan.pour.depth_mm, *(layer.depth_mm for layer in plan.layer))
    depth, width = sum(layers), plan.pour.width_mm
    goes_on = width is None
    across = PIECE * depth if width is None else width
    bottom = across
    outline = plan.outline
    if outline is not None and outline.bottom_diameter_mm is not None:
        bottom = outline.bottom_diameter_mm
    elif outline is not None:
        bottom = max(0.0, across + 2.0 * depth * math.tan(math.radians(outline.edge_slope_deg)))
    return Cut(
        plan.pour.shape,
        across,
        bottom,
        layers,
        None if plan.pour.shape == "sheet" and goes_on else _beside(plan, depth),
        plan.form.bottom.thickness_mm,
        plan.form.underside,
        goes_on,
    )


def _beside(plan: Plan, depth: float) -> tuple[Beside, Beside]:
    """Return what stands at the left and at the right: slabs of a river, walls of a mould."""
    if plan.pour.shape != "river":
        said = "side" in plan.form.model_fields_set
        wall = plan.form.side.thickness_mm if said else WALL
        mould = Beside("", depth, wall, said)
        return mould, mould
    slabs = [Beside(slab.name, slab.thickness_mm, slab.width_mm) for slab in plan.slab[:2]]
    unsaid = Beside("", depth, MOST_BESIDE, said=False)
    slabs += [unsaid] * (2 - len(slabs))
    return slabs[0], slabs[1]


@dataclass(slots=True)
class _Pen:
    """Draws mm by one scale: x from the centre line, z up from the resin's bottom."""

    scale: float
    x0: float
    y0: float
    grain: str = ""
    parts: list[str] = field(default_factory=list)

    def x(self, mm: float) -> float:
        """Return where x mm lies, px."""
        return self.x0 + mm * self.scale

    def y(self, mm: float) -> float:
        """Return where z mm lies, px."""
        return self.y0 - mm * self.scale

    def polygon(self, kind: str, points: Sequence[tuple[float, float]], more: str = "") -> None:
        """Draw corners given in mm."""
        corners = " ".join(f"{self.x(x):.2f},{self.y(z):.2f}" for x, z in points)
        self.parts.append(f'<polygon class="{kind}" points="{corners}"{more}/>')

    def box(self, kind: str, left: float, low: float, right: float, high: float) -> None:
        """Draw a rectangle given in mm."""
        self.polygon(kind, ((left, low), (right, low), (right, high), (left, high)))

    def line(self, kind: str, x1: float, y1: float, x2: float, y2: float) -> None:
        """Draw a line given in px."""
        self.parts.append(f'<path class="{kind}" d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"/>')

    def text(self, words: str, x: float, y: float, kind: str = "", anchor: str = "start") -> None:
        """Write words at a place given in px."""
        css = f' class="{kind}"' if kind else ""
        self.parts.append(f'<text{css} x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>')

    def broken(self, x_mm: float, low: float, high: float) -> None:
        """Draw the broken line at which a piece is cut off."""
        x, top, bottom = self.x(x_mm), self.y(high) - 4, self.y(low) + 4
        middle = (top + bottom) / 2
        path = f"M{x:.1f} {top:.1f}V{middle - 7:.1f}l-5 4l10 6l-5 4V{bottom:.1f}"
        self.parts.append(f'<path class="broken" d="{path}"/><path class="broken-line" d="{path}"/>')


def section_drawing(cut: Cut, u: Reader, across: int) -> Markup:
    """Return the section as SVG, `across` px wide: the whole of it, and where that is thin its middle drawn larger."""
    shown = _shown(cut)
    whole = max(cut.width, cut.bottom_width) / 2 + max(shown, default=0.0)
    room = across - GUTTER - MARGIN
    scale = min(room / (2 * whole), TALLEST / (cut.depth + cut.panel))
    high = max([cut.depth, *(one.thickness for one in cut.beside or ())])
    top = 34.0
    grain = f' fill="url(#grain-{across})"'
    pen = _Pen(scale, GUTTER + room / 2, top + high * scale, grain)
    low = not _readable(cut, scale)
    _body(pen, cut, shown, number=not low)
    _width(pen, cut, u, top - 12 + (high - cut.depth) * scale)
    below = _stands(pen, cut, whole)
    if low:
        below = _window(pen, cut, u, across, below)
    else:
        _depth(pen, cut, u, pen.x(-whole) - 12)
        _probes(pen, cut)
    below = _bar(pen, u, across, below)
    label = _label(cut, u)
    return Markup(
        f'<svg class="drawn" viewBox="0 0 {across} {below:.0f}" role="img" aria-label="{escape(label)}">'
        f"{_grain(across)}{''.join(pen.parts)}</svg>"
    )


def _shown(cut: Cut) -> tuple[float, ...]:
    """Return how much is shown of what stands at each side, mm."""
    if cut.beside is None:
        return ()
    most = min(MOST_BESIDE, max(LEAST_BESIDE, BESIDE * cut.width))
    return tuple(min(one.width, most) for one in cut.beside)


def _readable(cut: Cut, scale: float) -> bool:
    """Whether layers and probes can be told apart at a scale."""
    return cut.depth * scale >= LOWEST and min(cut.layers) * scale >= THINNEST


def _half(cut: Cut, z: float) -> float:
    """Return half the resin's width at a height, mm."""
    part = z / cut.depth
    return (cut.bottom_width + (cut.width - cut.bottom_width) * part) / 2


def _grain(across: int) -> str:
    """Return the hatching of wood; two drawings of one page each have their own."""
    return (
        f'<defs><pattern id="grain-{across}" width="9" height="9" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(28)"><rect class="wood-ground" width="9" height="9"/>'
        '<path class="wood-line" d="M0 2.500H9M0 6.500H9"/></pattern></defs>'
    )


def _body(pen: _Pen, cut: Cut, shown: Sequence[float], number: bool) -> None:
    """Draw panel, what stands beside, and the layers with their numbers."""
    sides = [max(cut.width, cut.bottom_width) / 2 + (shown[i] if shown else 0.0) for i in (0, 1)]
    if cut.panel > 0:
        pen.box("panel", -sides[0], -cut.panel, sides[1], 0.0)
    for i, one in enumerate(cut.beside or ()):
        sign, edge = (-1, 1)[i], sides[i]
        foot, head = _half(cut, 0.0), _half(cut, min(one.thickness, cut.depth))
        points = [(sign * foot, 0.0), (sign * edge, 0.0), (sign * edge, one.thickness)]
        points += [(sign * head, one.thickness)]
        kind, fill = ("wood", pen.grain) if cut.shape == "river" else ("panel", "")
        pen.polygon(kind if one.said else f"{kind} unsaid", points, f' data-part="beside"{fill}')
        if one.width > shown[i] + 0.5 and cut.shape == "river":
            pen.broken(sign * edge, -cut.panel, one.thickness)
    z = 0.0
    for i, depth in enumerate(cut.layers):
        foot, low, z = _half(cut, z), z, z + depth
        head = _half(cut, z)
        corners = ((-foot, low), (foot, low), (head, z), (-head, z))
        pen.polygon(f"resin shade-{i % 2}", corners, f' data-layer="{i + 1}"')
        if number and len(cut.layers) > 1:
            _tag(pen, i + 1, pen.x(-_half(cut, z)) + 20, pen.y(z - depth / 2))
    if cut.goes_on:
        for end in (-cut.width / 2, cut.width / 2):
            pen.broken(end, -cut.panel, cut.depth)


def _tag(pen: _Pen, layer: int, x: float, y: float) -> None:
    """Draw a layer's number in its circle."""
    pen.parts.append(f'<circle class="tag" cx="{x:.1f}" cy="{y:.1f}" r="9"/>')
    pen.text(str(layer), x, y + 4.5, "tag-number", "middle")


def _width(pen: _Pen, cut: Cut, u: Reader, y: float) -> None:
    """Draw the width's dimension over the resin."""
    if cut.goes_on:
        return
    left, right = pen.x(-cut.width / 2), pen.x(cut.width / 2)
    _arrow(pen, left, y, right, y)
    pen.text(say(typed_length(cut.width), u), (left + right) / 2, y - 6, "dimension", "middle")


def _depth(pen: _Pen, cut: Cut, u: Reader, x: float) -> None:
    """Draw the depth's dimension at the left."""
    top, bottom = pen.y(cut.depth), pen.y(0.0)
    _arrow(pen, x, top, x, bottom)
    pen.text(say(typed_length(cut.depth), u), x - 6, (top + bottom) / 2 + 5, "dimension", "end")


def _arrow(pen: _Pen, x1: float, y1: float, x2: float, y2: float) -> None:
    """Draw a dimension line with a stroke across each end."""
    pen.line("measure", x1, y1, x2, y2)
    for x, y in ((x1, y1), (x2, y2)):
        across = (0.0, 4.0) if y1 == y2 else (4.0, 0.0)
        pen.line("measure", x - across[0], y - across[1], x + across[0], y + across[1])


def _probes(pen: _Pen, cut: Cut) -> None:
    """Draw where each probe belongs, with its name beside it; names keep their distance."""
    places = (
        ("surface", phrase("Surface"), max(cut.depth - SURFACE_DOWN, cut.depth / 2)),
        ("core", phrase("Core"), cut.layers[0] / 2),
        ("underside", phrase("Underside"), -cut.panel),
    )
    before = -math.inf
    for kind, name, z in places:
        y = pen.y(z)
        pen.parts.append(f'<circle class="probe {kind}" cx="{pen.x0:.1f}" cy="{y:.1f}" r="5"/>')
        at = max(y, before + 16)
        before = at
        pen.text(say(name), pen.x0 + 12, at + 4.5, "probe-name")


def _stands(pen: _Pen, cut: Cut, whole: float) -> float:
    """Draw what is under the form; return the lowest px drawn so far."""
    y = pen.y(-cut.panel)
    left, right = pen.x(-whole), pen.x(whole)
    if cut.underside == "open":
        for x in (left + 14, right - 14):
            pen.parts.append(f'<rect class="leg" x="{x - 6:.1f}" y="{y:.1f}" width="12" height="18"/>')
        pen.line("ground", left - 4, y + 18, right + 4, y + 18)
        return y + 20
    if cut.underside == "closed":
        pen.parts.append(
            f'<rect class="leg" x="{left - 4:.1f}" y="{y:.1f}" width="{right - left + 8:.1f}" height="6"/>'
        )
        return y + 12
    return y + 6


def _window(pen: _Pen, cut: Cut, u: Reader, across: int, below: float) -> float:
    """Draw the middle once more, larger by a whole number of times; return the lowest px."""
    fits = [t for t in TIMES if cut.depth * pen.scale * t >= WINDOW and min(cut.layers) * pen.scale * t >= 24]
    lower = [t for t in TIMES if (cut.depth + cut.panel) * pen.scale * t <= 2 * TALLEST]
    times = min(fits[0] if fits else TIMES[-1], lower[-1] if lower else TIMES[0])
    scale = pen.scale * times
    room = across - GUTTER - MARGIN
    half = min(room / scale, cut.width) / 2
    top = below + 34
    large = _Pen(scale, GUTTER + room / 2, top + cut.depth * scale)
    frame_top, frame_low = pen.y(cut.depth) - 3, pen.y(-cut.panel) + 3
    pen.parts.append(
        f'<rect class="window" x="{pen.x(-half):.1f}" y="{frame_top:.1f}" width="{2 * half * pen.scale:.1f}" '
        f'height="{frame_low - frame_top:.1f}"/>'
    )
    said = phrase("Its middle, drawn {times} times larger", times=times)
    pen.text(say(said, u), GUTTER, top - 12, "caption")
    if cut.panel > 0:
        large.box("panel", -half, -cut.panel, half, 0.0)
    z = 0.0
    for i, depth in enumerate(cut.layers):
        large.polygon(
            f"resin shade-{i % 2}",
            ((-half, z), (half, z), (half, z + depth), (-half, z + depth)),
            f' data-layer="{i + 1}" data-times="{times}"',
        )
        z += depth
        if len(cut.layers) > 1 and depth * scale >= THINNEST:
            _tag(large, i + 1, large.x(-half) + 20, large.y(z - depth / 2))
    for end in (-half, half):
        large.broken(end, -cut.panel, cut.depth)
    _depth(large, cut, u, large.x(-half) - 14)
    _probes(large, cut)
    pen.parts += large.parts
    return large.y(-cut.panel) + 16


def _bar(pen: _Pen, u: Reader, across: int, below: float) -> float:
    """Draw the scale; return the height of the whole drawing, px."""
    bars = BARS_IN if u.length == "in" else BARS_MM
    fit = [mm for mm in bars if mm * pen.scale <= across / 3]
    mm = fit[-1] if fit else bars[0]
    y, left = below + 18, GUTTER
    right = left + mm * pen.scale
    pen.parts.append(
        f'<path class="bar" data-mm="{mm:.6g}" d="M{left:.2f} {y - 5:.1f}V{y:.1f}H{right:.2f}V{y - 5:.1f}"/>'
    )
    pen.text(say(length(mm, None), u), right + 8, y + 2, "caption")
    return y + 10


def _label(cut: Cut, u: Reader) -> str:
    """Return what the drawing shows, for whoever does not see it."""
    n, depth = len(cut.layers), typed_length(cut.depth)
    if cut.goes_on:
        said = phrase("Section to scale: {depth} deep, layers: {n}", depth=depth, n=n)
    else:
        width = typed_length(cut.width)
        said = phrase(
            "Section to scale: {width} wide, {depth} deep, layers: {n}", width=width, depth=depth, n=n
        )
    return say(said, u)
