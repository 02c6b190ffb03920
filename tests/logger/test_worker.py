"""The process for heavy work: it never outlives whom it works for."""

from __future__ import annotations

import pickle
import platform
import subprocess
import sys
from concurrent.futures import BrokenExecutor

import pytest

from logger.errors import BadInput, BadPlan, LoggerError, NotReady
from logger.worker import OwnProcess, WorkerLimits

#: Starts heavy work, says the worker's process id as soon as there is one (it is still importing then), and waits.
PARENT = """
import multiprocessing, threading, time
from logger.worker import OwnProcess

if __name__ == "__main__":
    heavy = OwnProcess()
    threading.Thread(target=heavy, args=(time.sleep, 600), daemon=True).start()
    while not (children := multiprocessing.active_children()):
        time.sleep(0.001)
    print(children[0].pid, flush=True)
    time.sleep(600)
"""


def test_a_worker_whose_parent_is_killed_while_it_starts_ends_too() -> None:
    """Else it stays for good with 100 MB and the service's output, for each kill one more."""
    with subprocess.Popen([sys.executable, "-c", PARENT], stdout=subprocess.PIPE) as parent:
        assert parent.stdout is not None
        assert int(parent.stdout.readline()) > 0
        parent.kill()
        # The worker inherited this output: its end is seen only when the worker is gone as well.
        rest, _ = parent.communicate(timeout=30)
    assert rest == b""


#: setpriority(2) on each machine, as the kernel's tables number it.
SETPRIORITY = {"x86_64": 141, "aarch64": 140}
#: Heavy work where the system refuses setpriority with EPERM, as a unit's SystemCallFilter=~@resources does.
FORBIDDEN = """
import ctypes, struct, sys
from logger.worker import OwnProcess

if __name__ == "__main__":
    steps = [(0x20, 0, 0, 0), (0x15, 0, 1, int(sys.argv[1])), (0x06, 0, 0, 0x00050001), (0x06, 0, 0, 0x7FFF0000)]
    program = ctypes.create_string_buffer(b"".join(struct.pack("HBBI", *step) for step in steps))
    libc = ctypes.CDLL(None)
    assert libc.prctl(38, 1, 0, 0, 0) == 0
    filled = ctypes.create_string_buffer(struct.pack("HxxxxxxP", len(steps), ctypes.addressof(program)))
    assert libc.prctl(22, 2, filled, 0, 0) == 0
    heavy = OwnProcess()
    print(heavy(abs, -3))
    heavy.close()
"""


@pytest.mark.skipif(
    platform.machine() not in SETPRIORITY, reason="the system call's number is not known here"
)
def test_heavy_work_is_done_where_it_may_not_be_made_less_important() -> None:
    """The service's unit took that call away: not one forecast was made."""
    number = str(SETPRIORITY[platform.machine()])
    done = subprocess.run(
        [sys.executable, "-c", FORBIDDEN, number], capture_output=True, text=True, check=False
    )
    assert done.stdout == "3\n", done.stderr


@pytest.mark.parametrize(
    "error",
    [
        BadInput("depth_mm", "is too deep", value=75, allowed="50 mm", remedy="pour it in layers"),
        BadPlan("plan", "is empty"),
        NotReady("pour 3", ["The depth is not signed.", "The room is too cold."]),
    ],
)
def test_an_error_comes_back_from_another_process_as_what_it_is(error: LoggerError) -> None:
    """With all its parts: one that cannot be read back breaks the process for whoever asks next."""
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is type(error)
    assert (str(back), vars(back)) == (str(error), vars(error))


def take(size: int) -> int:
    """So many bytes of memory, written to."""
    return len(bytearray(b"x") * size)


def turn() -> None:
    """Work without end."""
    while True:
        pass


LIMITS = WorkerLimits(memory_bytes=200_000_000, cpu_s=2, file_bytes=1_000_000)


def test_work_that_takes_too_much_memory_or_time_is_ended_and_the_next_is_done() -> None:
    """The memory is refused where it is asked for; the time ends the process."""
    heavy = OwnProcess(LIMITS)
    try:
        assert heavy(take, 50_000_000) == 50_000_000
        with pytest.raises(MemoryError):
            heavy(take, 400_000_000)
        with pytest.raises(BrokenExecutor):
            heavy(turn)
        assert heavy(abs, -3) == 3
    finally:
        heavy.close()
