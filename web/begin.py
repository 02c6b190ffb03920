"""Where `pourlog` begins: Ctrl-C while everything is still being loaded ends it without a word."""

from __future__ import annotations

import signal


def main() -> None:
    """Load the command line and run it."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from web.command import main as command  # here: it is what takes so long, and Ctrl-C must end it

    signal.signal(signal.SIGINT, signal.default_int_handler)
    command()


if __name__ == "__main__":
    main()
