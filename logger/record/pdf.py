"""HTML to PDF, in a process of its own: the library is large, and nothing that a record holds is ever fetched.

`python -m logger.record.pdf` reads HTML on standard input and writes the PDF to standard output.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys

from logger.errors import LoggerError
from logger.facts import fact
from logger.quantities import seconds

#: Longest that one PDF may take, s: a Pi needs ten times a PC's half second.
LONGEST_S = 60


class NoPdf(LoggerError):
    """A PDF cannot be made here; the page prints the same."""


def to_pdf(html: str) -> bytes:
    """Return the PDF of a page that needs nothing from elsewhere. Raises NoPdf with the remedy."""
    if importlib.util.find_spec("weasyprint") is None:
        raise NoPdf(fact("pdf-not-installed"))
    try:
        done = subprocess.run(
            [sys.executable, "-m", "logger.record.pdf"],
            input=html.encode(),
            capture_output=True,
            timeout=LONGEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise NoPdf(fact("pdf-too-slow", span=seconds(LONGEST_S))) from error
    if done.returncode != 0 or not done.stdout.startswith(b"%PDF-"):
        last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or [fact("pdf-no-reason")]
        raise NoPdf(fact("pdf-not-made", error=last[0]))
    return done.stdout


def main() -> None:
    """Turn standard input into standard output."""
    # 60 MB and half a second: only here.
    import weasyprint

    # Only what is written into the page itself: a record fetches nothing from anywhere.
    fetcher = weasyprint.URLFetcher(allowed_protocols=("data",), fail_on_errors=True)
    html = weasyprint.HTML(string=sys.stdin.buffer.read().decode(), url_fetcher=fetcher)
    sys.stdout.buffer.write(html.write_pdf())


if __name__ == "__main__":
    main()
