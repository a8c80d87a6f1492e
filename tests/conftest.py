"""What every test runs under: one thread for linear algebra, and one of two hypothesis profiles.

The matrices here are small: a second thread waits more than it works, and its waiting counts as CPU time.

The default profile draws the same examples on every machine. ``--hypothesis-profile=explore`` draws others at random,
and ``--hypothesis-seed=N`` draws those of one run again. Neither has a deadline, since the first call of a kind pays
for imports.
"""

import os

from hypothesis import settings

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

settings.register_profile("same", derandomize=True, database=None, deadline=None, print_blob=True)
settings.register_profile("explore", derandomize=False, database=None, deadline=None, print_blob=True)
settings.load_profile("same")
