"""How the whole suite runs: property tests without a clock, since a busy machine is no fault of the code.

The suite draws the same examples every time, so that a change is judged by what it changed; `make trial` draws
others (`AIMGEO_SEARCH` says how many for each test), and what it finds becomes an example of its test.
"""

import os

import pytest
from hypothesis import settings

settings.register_profile("suite", deadline=None, max_examples=50, derandomize=True)
if "AIMGEO_SEARCH" in os.environ:
    settings.register_profile("search", deadline=None, max_examples=int(os.environ["AIMGEO_SEARCH"]))
settings.load_profile("search" if "AIMGEO_SEARCH" in os.environ else "suite")


def pytest_addoption(parser: pytest.Parser) -> None:
    """An option of our own: write the pictures of test_pictures.py anew."""
    parser.addoption(
        "--update-pictures", action="store_true", help="write the kinds' pictures anew; then look at them"
    )
