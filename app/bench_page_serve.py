"""What the server runs: the page, the customer's pages beside it, and the guards before both."""

from __future__ import annotations

import gc
import os
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import bench_page_hearing as hearing
import bench_page_shelf as shelf
import streamlit as st

from listen.cli.server import HOST, HOSTS_VARIABLE, LAN_VARIABLE
from listen.decode import DecodeWorker
from listen.intake.hearing import Listener
from listen.intake.web import CustomerPages
from listen.lan.stack import guards

_listener = Listener(shelf.library, worker=DecodeWorker(), crew=hearing.crew())
_pages = CustomerPages(shelf.library, on_message=_listener.wake)


@asynccontextmanager
async def _lifespan(app: Any) -> AsyncIterator[None]:
    threading.Thread(target=hearing.crew().warm, name="warm", daemon=True).start()
    _listener.start()
    # What is loaded by now stays until the end: later collections need not look at it again.
    gc.freeze()
    yield
    _listener.stop()
    hearing.crew().close()


app = st.App(
    Path(__file__).with_name("page.py"),
    routes=_pages.routes(),
    middleware=guards(
        hosts=os.environ.get(HOSTS_VARIABLE, "").split() or [HOST, "localhost"],
        lan=os.environ.get(LAN_VARIABLE) or None,
    ),
    lifespan=_lifespan,
)
