"""Hearing processes for a server: clips are heard beside it, never in it, and none is lost when one dies."""

from listen.crew.pool import Crew

__all__ = ["Crew"]
