"""Settings that must stand before numpy is loaded: one thread, since two test workers share two cores.

Hypothesis draws the same examples at every run, so that a run means the same today and tomorrow; others are
looked for with `pytest --hypothesis-profile explore`. No test fails for taking long.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

settings.register_profile("repeat", derandomize=True, deadline=None)
settings.register_profile("explore", max_examples=300, deadline=None)
settings.load_profile("repeat")
