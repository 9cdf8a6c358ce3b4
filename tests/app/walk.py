"""Find what stands on a page under test."""

import re


def text_of(app):
    """All HTML that the page shows, tags taken out."""
    html = " ".join(element.proto.body for element in app.get("html"))
    return re.sub(r"\s+", " ", re.sub(r"<style>.*?</style>|<[^>]+>", " ", html, flags=re.S))


def by_label(widgets, label):
    return next(one for one in widgets if one.label == label)


def button(app, label):
    return by_label(app.button, label)
