"""How long an hour, a day and a year are, in the units that days are counted in here."""

HOUR_S = 3_600
DAY_S = 24 * HOUR_S
MINUTE_MS = 60_000
HOUR_MS = 1_000 * HOUR_S
DAY_MS = 1_000 * DAY_S
YEAR_DAYS = 365  # of a replay, a plan or a trial; a leap day is left out
