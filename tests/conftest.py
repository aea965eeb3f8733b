"""How the whole suite runs: property tests without a clock, since a busy machine is no fault of the code."""

from hypothesis import settings

settings.register_profile("suite", deadline=None, max_examples=50)
settings.load_profile("suite")
