"""Random plants, a few days each: water and energy balance, orders stay in bounds, floor and stream are kept."""

import csv

import numpy as np
import pytest
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from becksim.electrics.household import PEAK_FACTOR  # noqa: F401
from becksim.replay import replay
from becksim.site import load_site
from becksim.totals import sum_of
