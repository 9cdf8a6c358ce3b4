"""What else is heard in a kitchen or at a bench: nothing here belongs to the machine."""
