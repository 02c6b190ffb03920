"""Draws an uploaded picture anew: only its pixels are kept; place, camera and whatever hid in it are gone."""

from __future__ import annotations

import io
import struct
import threading

from logger.errors import BadInput
from logger.words.phrase import phrase

#: What is read at all; the content decides, never the name or the type that was sent.
FORMATS = ("JPEG", "PNG", "WEBP")
#: Most pixels of a picture: a phone's largest. JPEG is read at a fraction of its size, the others whole (75 MB).
MOST_PIXELS = {"JPEG": 89_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
#: Longest side of what is kept, pixels: a crack is seen, and a record stays small.
LONGEST_SIDE = 2560
QUALITY = 85
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


def _drawn(raw: bytes, longest_side: int) -> bytes:
    # Imported when first needed: it costs a service without photos 30 ms and 10 MB.
    from PIL import Image, ImageOps

    try:
        with _one, Image.open(io.BytesIO(raw), formats=FORMATS) as picture:
            width, height = picture.size
            if width * height > MOST_PIXELS[str(picture.format)]:
                raise BadInput(
                    phrase("photo"),
                    phrase("has too many pixels"),
                    value=f"{width} x {height}",
                    allowed=phrase("{n} million", n=round(MOST_PIXELS[str(picture.format)] / 1e6)),
                    remedy=phrase("take it with a smaller picture size"),
                )
            picture.draft("RGB", (longest_side, longest_side))
            upright = ImageOps.exif_transpose(picture).convert("RGB")
            upright.thumbnail((longest_side, longest_side))
            out = io.BytesIO()
            # A new image of the pixels alone: save() would carry the old one's metadata over.
            bare = Image.new("RGB", upright.size)
            bare.paste(upright)
            bare.save(out, "JPEG", quality=QUALITY, optimize=True)
            return out.getvalue()
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
            phrase("photo"),
            phrase("is not a picture that can be kept"),
            allowed=phrase("JPEG, PNG or WebP"),
            remedy=phrase("take it with the phone's camera, or export it as JPEG"),
        ) from error
