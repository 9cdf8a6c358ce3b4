"""The customer's pages on a real server, for the tests of hard use: ``python -m tests.hard.serve PORT PLACE [VAULT]``.

In the environment: ``HARD_FILE_BYTES`` is the largest file that this process may write
(as on a full disk); ``HARD_PLAIN=1`` takes from the super-user the right to write where
permissions forbid it.
"""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import sys

_PR_CAPBSET_DROP, _CAP_DAC_OVERRIDE = 24, 1


def main() -> None:
    port, place, vault = int(sys.argv[1]), sys.argv[2], (sys.argv[3:] or [None])[0]
    if os.environ.pop("HARD_PLAIN", "") and os.geteuid() == 0:
        # What is dropped from the bounding set is gone after the next exec.
        ctypes.CDLL(None).prctl(_PR_CAPBSET_DROP, _CAP_DAC_OVERRIDE, 0, 0, 0)
        os.execv(sys.executable, [sys.executable, "-m", "tests.hard.serve", *sys.argv[1:]])
    if limit := os.environ.get("HARD_FILE_BYTES"):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), resource.RLIM_INFINITY))

    import uvicorn
    from starlette.applications import Starlette

    from listen.intake.web import CustomerPages
    from listen.library import open_library

    library = open_library(place, vault=vault)
    pages = CustomerPages(lambda: library)
    uvicorn.run(Starlette(routes=pages.routes()), host="127.0.0.1", port=port, log_level="critical")


if __name__ == "__main__":
    main()
