"""What every test runs under: one thread for linear algebra, and one of three hypothesis profiles.

The matrices here are small: a second thread waits more than it works, and its waiting counts as CPU time.

The default profile draws the same few examples on every machine, so that the fast tests stay fast, and ``thorough``
25 times as many.
``--hypothesis-profile=explore`` draws others at random, and ``--hypothesis-seed=N`` draws those of one run again. No
profile has a deadline, since the first call of a kind pays for imports.
"""

import os

from hypothesis import settings

os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}

settings.register_profile("same", max_examples=20, derandomize=True, database=None, deadline=None, print_blob=True)
settings.register_profile("thorough", settings.get_profile("same"), max_examples=500)
settings.register_profile("explore", settings.get_profile("same"), max_examples=100, derandomize=False)
settings.load_profile("same")


def pytest_addoption(parser):
    parser.addoption("--schemas", help="folder of the schemas of IPC-2581, which are no part of the project")
    parser.addoption("--damaged", type=int, default=2000, help="damaged files of every kind in the slow tests")
