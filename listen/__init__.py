"""Listen to an espresso machine: what was heard, whether it fits, what to check next."""
