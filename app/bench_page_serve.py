"""What the server runs: the page, the customer's pages beside it, and the guards before both."""

from __future__ import annotations

import gc
import importlib
import os
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import bench_page_hearing as hearing
import bench_page_shelf as shelf
import streamlit as st

from listen.bench import first_minute_questions
from listen.cli.server import HOST, HOSTS_VARIABLE, LAN_VARIABLE
from listen.decode import DecodeWorker
from listen.intake.hearing import Listener
from listen.intake.web import CustomerPages
from listen.lan.stack import guards

_listener = Listener(shelf.library, worker=DecodeWorker(), crew=hearing.crew())
_pages = CustomerPages(shelf.library, on_message=_listener.wake)


def _warm() -> None:
    """Load what the first phone would wait for."""
    first_minute_questions()
    # The page's components ask for it at their first use.
    importlib.import_module("pandas")
    hearing.crew().warm()
    # What is loaded by now stays until the end: later collections need not look at it again.
    gc.collect()
    gc.freeze()


@asynccontextmanager
async def _lifespan(app: Any) -> AsyncIterator[None]:
    threading.Thread(target=_warm, name="warm", daemon=True).start()
    _listener.start()
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
