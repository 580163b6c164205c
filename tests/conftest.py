"""Options of the test run; and made-up cases, the same in every run unless new ones are asked for."""

import os

import pytest
from hypothesis import HealthCheck, settings

# A change is judged by what it changes: the cases that hypothesis makes up stay the same until a test is
# edited. With BECKLIGHT_NIGHTLY=1 in the environment every test that does not say otherwise gets new ones.
# Nor does a slow machine fail one.
settings.register_profile(
    "becklight",
    derandomize=os.environ.get("BECKLIGHT_NIGHTLY") != "1",
    database=None,
    print_blob=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("becklight")


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
