"""One hypothesis profile for every test: no deadline, since the first call of a kind pays for imports."""

from hypothesis import settings

settings.register_profile("stubsi", settings.get_profile(settings.get_current_profile_name()), deadline=None)
settings.load_profile("stubsi")
