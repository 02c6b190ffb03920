"""`python -m logger.daemon station FILE` and `… relay-safe FILE`: what the units start; `… pins FILE` is for the check.

The same as `pourlog station` and `pourlog relay-safe`, without the command line's weight: the service's libraries take
three times the daemon's memory, and a relay must be made safe at once, not after they are loaded.
"""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from hardware.errors import HardwareError
from logger.daemon.look_at_pins import look_at_pins
from logger.daemon.main import relay_safe, run_from_file
from logger.daemon.station_file import station_from_file
from logger.errors import BadInput, LoggerError


def pins(path: Path) -> int:
    """Print what `pourlog check` asks about the pins of a station file, as JSON."""
    sys.stdout.write(json.dumps(look_at_pins(station_from_file(path).wiring.pins)))
    return 0


COMMANDS: dict[str, Callable[[Path], int]] = {
    "station": run_from_file,
    "relay-safe": relay_safe,
    "pins": pins,
}


def main(arguments: Sequence[str]) -> int:
    """Run one command on one station file. Return its exit code: 0 done, 2 refused, 1 anything else."""
    logging.basicConfig(level=logging.WARNING, format="%(levelname)s %(name)s: %(message)s")
    if len(arguments) != 2 or arguments[0] not in COMMANDS:
        sys.stderr.write(f"pourlog: give one of {', '.join(COMMANDS)} and a station file\n")
        return 2
    try:
        return COMMANDS[arguments[0]](Path(arguments[1]))
    except BadInput as error:
        sys.stderr.write(f"pourlog: {error}\n")
        return 2
    except (LoggerError, HardwareError) as error:
        sys.stderr.write(f"pourlog: {error}\n")
        return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
