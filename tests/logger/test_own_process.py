"""The process for heavy work: it never outlives whom it works for."""

from __future__ import annotations

import subprocess
import sys

#: Starts heavy work, says the worker's process id as soon as there is one (it is still importing then), and waits.
PARENT = """
import multiprocessing, threading, time
from logger.own_process import OwnProcess

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
