"""Settings that must stand before numpy is loaded: one thread, since two test workers share two cores."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
