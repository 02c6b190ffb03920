"""The `Content-Digest` field of a batch and of its answer, for the station and the service alike (RFC 9530)."""

from __future__ import annotations

import base64
import hashlib


def content_digest(content: bytes) -> str:
    """Return the field's value for a body: a digit changed on the way would be another temperature, and valid."""
    return f"sha-256=:{base64.b64encode(hashlib.sha256(content).digest()).decode()}:"
