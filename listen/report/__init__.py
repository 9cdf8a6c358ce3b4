"""Turn a Report into what people and programs read: a dict (JSON), terminal text, an HTML page.

Everything is made from the dict of :mod:`listen.report.to_dict`, so that the
faces cannot disagree with the JSON report. Nothing here judges.
"""
