"""Two hypothesis profiles: one that draws the same examples everywhere, and one that explores at random.

Without an option, what passes once passes on every machine. To explore: ``--hypothesis-profile=explore``, with
``--hypothesis-seed=N`` to draw the same examples again. No profile has a deadline, since the first call of a kind
pays for imports.
"""

from hypothesis import settings

settings.register_profile("same", derandomize=True, database=None, deadline=None, print_blob=True)
settings.register_profile("explore", derandomize=False, database=None, deadline=None, print_blob=True)
settings.load_profile("same")
