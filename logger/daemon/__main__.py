"""`python -m logger.daemon station FILE` and `… relay-safe FILE`: what the units start.

`… first-file FILE` is for the station's unit before there is a file, `… pins FILE` for the check.

The same as `pourlog station` and `pourlog relay-safe`, without the command line's weight: the service's libraries take
three times the daemon's memory, and a relay must be made safe at once, not after they are loaded.
"""

from __future__ import annotations

import json
import logging
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from hardware.errors import HardwareError, HardwareMissing
from logger.daemon.look_at_pins import look_at_pins
from logger.daemon.main import relay_safe, run_from_file
from logger.daemon.station_file import read_content, station_from_file
from logger.errors import BadInput, LoggerError
from logger.words.log_lines import log_in_english

#: How long the first file waits for a probe, and how often it looks, s: less than the unit gives a start.
PATIENCE_S, LOOK_S = 20.0, 2.0


def pins(path: Path) -> int:
    """Print what `pourlog check` asks about the pins of a station file, as JSON."""
    sys.stdout.write(json.dumps(look_at_pins(station_from_file(path).wiring.pins)))
    return 0


def first_file(path: Path) -> int:
    """Write the first station file with the probes that are plugged in; wait for one where there is none.

    The unit runs it as root before the station, which may write nothing there.
    """
    if path.exists():
        return 0
    from logger.daemon.new_station import probes_here, station_content, write_station

    head = read_content(path.with_name(path.stem + ".head.toml"))
    until_s = time.monotonic() + PATIENCE_S
    while not (probes := probes_here()):
        if time.monotonic() > until_s:
            raise HardwareMissing(
                "no probe is plugged in: look at plug, pull-up (4.7 kΩ between data and 3.3 V) and pin"
            )
        time.sleep(LOOK_S)
    write_station(path, station_content(path, str(head.get("name")), str(head.get("service_url")), probes))
    sys.stdout.write(
        f"pourlog: {path} is written, with {len(probes)} probes in the order in which they were found\n"
    )
    return 0


COMMANDS: dict[str, Callable[[Path], int]] = {
    "station": run_from_file,
    "relay-safe": relay_safe,
    "pins": pins,
    "first-file": first_file,
}


def main(arguments: Sequence[str]) -> int:
    """Run one command on one station file. Return its exit code: 0 done, 2 refused, 1 anything else."""
    log_in_english(logging.WARNING)
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
