"""Pictures and codes written into a page itself: it then needs nothing else, and prints the same."""

from __future__ import annotations

from base64 import b64encode

import segno


def png(picture: bytes) -> str:
    """Return a PNG as an address that holds it."""
    return f"data:image/png;base64,{b64encode(picture).decode('ascii')}"


def jpeg(picture: bytes) -> str:
    """Return a JPEG as an address that holds it."""
    return f"data:image/jpeg;base64,{b64encode(picture).decode('ascii')}"


def qr_code(address: str) -> str:
    """Return an address as a code to scan. Level Q bears a quarter of its area scratched or stained (ISO/IEC 18004:
    25 %, as public encoders quote it).
    """
    return str(segno.make(address, error="q", micro=False).svg_data_uri(border=2))
