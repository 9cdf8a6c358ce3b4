"""What the server runs: the page itself; routes that need no Streamlit stand beside it."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

app = st.App(Path(__file__).with_name("page.py"))
