"""One file a step, applied in order, each in one transaction."""
