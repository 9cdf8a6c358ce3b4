"""Measurements of a clip that need no training: onsets, lines, bands, textures."""
