"""The forecast's numerics: numpy and scipy, no I/O, no clock. Run in a process of their own.

Nothing that answers requests imports this package.
"""

import os

# Matrices here are small: the linear algebra's own threads would wait for one another, five times
# as long as one thread works. It reads these when numpy is first imported.
for _library in ("OPENBLAS", "OMP", "MKL"):
    os.environ.setdefault(f"{_library}_NUM_THREADS", "1")
