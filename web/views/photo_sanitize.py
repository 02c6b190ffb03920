"""Draws an uploaded picture anew: only its pixels are kept; place, camera and whatever hid in it are gone."""

from __future__ import annotations

import io
import struct
import threading
from collections.abc import Callable
from typing import Any

from logger.errors import BadInput
from logger.words.phrase import phrase

#: What is read at all; the content decides, never the name or the type that was sent.
FORMATS = ("JPEG", "PNG", "WEBP")
#: Most pixels of a picture: a phone's largest. JPEG is read at a fraction of its size, the others whole (75 MB).
MOST_PIXELS = {"JPEG": 89_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
#: Longest side of what is kept, pixels: a crack is seen, and a record stays small.
LONGEST_SIDE = 2560
QUALITY = 85
#: A logo as it is kept, pixels: 60 mm at 250 dots an inch; and its colours at most, so that it stays below 80 kB.
LOGO_SIDE, LOGO_COLOURS = (600, 300), 64
#: One picture at a time: each takes up to 150 MB of a 1 GB machine.
_one = threading.Lock()


def redrawn(raw: bytes) -> bytes:
    """Return the picture as a new JPEG, upright, at most 2560 pixels long. Raises BadInput for anything else."""
    return _drawn(raw, LONGEST_SIDE)


def thumbnail(photo: bytes, longest_side: int) -> bytes:
    """Return a picture that was kept, as a small JPEG. Raises BadInput: it may have come with a record from
    elsewhere.
    """
    return _drawn(photo, longest_side)


def logo(raw: bytes) -> bytes:
    """Return a picture as a small PNG of its pixels alone, clear where it was clear. Raises BadInput."""

    def draw(picture: Any) -> bytes:
        from PIL import Image

        small = picture.convert("RGBA")
        small.thumbnail(LOGO_SIDE)
        bare = Image.new("RGBA", small.size)
        bare.paste(small)
        # The one method that keeps what is clear (Pillow's documentation of Image.quantize).
        few = bare.quantize(LOGO_COLOURS, method=Image.Quantize.FASTOCTREE)
        out = io.BytesIO()
        few.save(out, "PNG", optimize=True)
        return out.getvalue()

    return _read(raw, draw, phrase("logo"), phrase("export it as PNG or JPEG"))


def for_paper(photo: bytes, width: int, height: int) -> bytes:
    """Return a kept picture that fills a field of so many pixels: cut to it, or, where that would lose more than a
    third of it, whole on white. Raises BadInput.
    """

    def draw(picture: Any) -> bytes:
        from PIL import Image, ImageOps

        picture.draft("RGB", (2 * width, 2 * height))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
        shape, field = upright.width / upright.height, width / height
        size = (width, height)
        whole = min(shape, field) / max(shape, field) < 2 / 3
        drawn = ImageOps.pad(upright, size, color="white") if whole else ImageOps.fit(upright, size)
        bare = Image.new("RGB", size)
        bare.paste(drawn)
        return _jpeg(bare)

    return _read(photo, draw)


def _drawn(raw: bytes, longest_side: int) -> bytes:
    def draw(picture: Any) -> bytes:
        from PIL import Image, ImageOps

        picture.draft("RGB", (longest_side, longest_side))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((longest_side, longest_side))
        # A new image of the pixels alone: save() would carry the old one's metadata over.
        bare = Image.new("RGB", upright.size)
        bare.paste(upright)
        return _jpeg(bare)

    return _read(raw, draw)


def _jpeg(picture: Any) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=QUALITY, optimize=True)
    return out.getvalue()


def _read(
    raw: bytes,
    draw: Callable[[Any], bytes],
    what: str = phrase("photo"),
    remedy: str = phrase("take it with the phone's camera, or export it as JPEG"),
) -> bytes:
    """Open a picture and draw it anew; `what` and `remedy`: for whoever sent something else. Raises BadInput."""
    # Imported when first needed: it costs a service without photos 30 ms and 10 MB.
    from PIL import Image

    try:
        with _one, Image.open(io.BytesIO(raw), formats=FORMATS) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS[str(picture.format)]:
                raise BadInput(
                    what,
                    phrase("has too many pixels"),
                    value=f"{width} x {height}",
                    allowed=phrase("{n} million", n=round(MOST_PIXELS[str(picture.format)] / 1e6)),
                    remedy=phrase("take it with a smaller picture size"),
                )
            return draw(picture)
    except BadInput:
        raise
    except (
        OSError,
        ValueError,
        SyntaxError,
        ArithmeticError,
        LookupError,
        TypeError,
        AttributeError,
        EOFError,
        MemoryError,
        struct.error,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ) as error:
        # A damaged picture fails in any of these ways, depending on where it is damaged.
        raise BadInput(
            what,
            phrase("is not a picture that can be kept"),
            allowed=phrase("JPEG, PNG or WebP"),
            remedy=remedy,
        ) from error
