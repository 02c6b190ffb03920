"""Writes web/security/common_passwords.bin from a published frequency list. Run by hand:

    python tests/bench/make_common_passwords.py

Source: the list "passwords" of the package zxcvbn 4.5.0 (MIT licence), ordered by how often leaked accounts used them:
its first 3000 of eight characters or more (ASVS 5.0, 6.2.4), and its first 2500 of three or more as words that people
dress up with digits. Kept as five-byte digests: the list itself is no reading for a repository.
"""

from __future__ import annotations

from pathlib import Path

from web.security.passwords import digest

TARGET = Path(__file__).parents[2] / "web" / "security" / "common_passwords.bin"


def main() -> None:
    """Reads the list, writes the file."""
    from zxcvbn.frequency_lists import FREQUENCY_LISTS  # a bench-only package

    listed = list(FREQUENCY_LISTS["passwords"])
    chosen = {word for word in listed if len(word) >= 8}
    long = [word for word in listed if len(word) >= 8][:3000]
    short = [word for word in listed if len(word) >= 3 and not word.isdigit()][:2500]
    digests = sorted({digest(word) for word in (*long, *short)})
    TARGET.write_bytes(b"".join(digests))
    print(f"{len(digests)} digests from {len(chosen)} long passwords")


if __name__ == "__main__":
    main()
