"""How the whole suite runs: property tests without a clock, since a busy machine is no fault of the code."""

import pytest
from hypothesis import settings

settings.register_profile("suite", deadline=None, max_examples=50)
settings.load_profile("suite")


def pytest_addoption(parser: pytest.Parser) -> None:
    """An option of our own: write the pictures of test_pictures.py anew."""
    parser.addoption(
        "--update-pictures", action="store_true", help="write the kinds' pictures anew; then look at them"
    )
