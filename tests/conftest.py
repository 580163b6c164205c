"""Options of the test run."""

import pytest


def pytest_addoption(parser):
    parser.addoption(
        "--update-golden",
        action="store_true",
        help="write the expected traces in tests/golden anew; say in the commit why the behaviour changed",
    )


@pytest.fixture
def update_golden(request):
    """Whether the expected traces are to be written rather than compared with."""
    return request.config.getoption("--update-golden")
