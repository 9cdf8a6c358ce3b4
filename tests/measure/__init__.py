"""Scripts that print measured figures; run each as `python -m tests.measure.NAME`. They assert nothing."""

import os

# Before numpy is loaded: the matrices are small, and threads of the linear algebra only wait for each other.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")
