"""Scripts that print measured figures; run each as `python -m tests.measure.NAME`. They assert nothing."""
