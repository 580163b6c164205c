"""Settings and figures of a tuning in words: shared by its page, its picture and the terminal."""

from becksim.report.lengths import length
from becksim.times import DAY_MS, HOUR_MS, MINUTE_MS
from becksim.tuning.score import Figures

CAUTION = (
    "Tuned settings are only as good as the site file: what it has wrong, they have wrong. Watch the level, "
    "the "
    "valves and the battery in the first weeks. Nothing that protects pipe, stream, battery or wheel has "
    "been turned."
)


def value_words(name: str, value: int) -> str:
    """A setting's value with its unit.

    Examples
    --------
    >>> value_words("dwell_ms", 900_000), value_words("flow_deadband_ml_s", 126)
    ('15 min', '0.126 L/s')
    >>> value_words("measure_ms", 7_084_000), value_words("level_recover_s", 113_095)
    ('118 min', '31.4 h')
    >>> value_words("battery_full_mv", 55100), value_words("rest_when_full", 1)
    ('55.1 V', 'yes')
    """
    if name == "rest_when_full":
        return "yes" if value else "no"
    if name.endswith(("_ms", "_recover_s")):
        return _about(value if name.endswith("_ms") else 1000 * value)
    for ending, unit, scale in (
        ("_ml_s", "L/s", 1000.0),
        ("_mv", "V", 1000.0),
        ("_permille", "%", 10.0),
        ("_mm", "mm", 1.0),
    ):
        if name.endswith(ending):
            return f"{value / scale:.6g} {unit}"
    return str(value)


def _about(ms: int) -> str:
    """A length of time, to three figures where it is not round."""
    for unit_ms, unit in ((DAY_MS, "d"), (HOUR_MS, "h"), (MINUTE_MS, "min")):
        if ms >= 2 * unit_ms:
            return f"{ms / unit_ms:.3g} {unit}"
    return length(ms)


def gain_words(with_it: Figures, without: Figures) -> str:
    """What a setting gains, as a change of energy, strokes and hours.

    Examples
    --------
    >>> gain_words(Figures(useful_kwh=1010.0, strokes_per_day=8.0), Figures(useful_kwh=1000.0))
    '+10.0 kWh (+1.00 %), +8.0 strokes a day'
    """
    kwh = with_it.useful_kwh - without.useful_kwh
    percent = 100.0 * kwh / without.useful_kwh if without.useful_kwh > 0.0 else 0.0
    strokes = with_it.strokes_per_day - without.strokes_per_day
    words = f"{kwh:+,.1f} kWh ({percent:+.2f} %), {strokes:+.1f} strokes a day"
    hours = with_it.unserved_h - without.unserved_h
    if abs(hours) >= 0.05:
        words += f", {hours:+.1f} h without"
    low_h = with_it.pond_low_h - without.pond_low_h
    if abs(low_h) >= 0.05:
        words += f", {low_h:+.1f} h of a low pond"
    return words


POND = "pond_low_h"
# Columns of figures: heading, name in Figures, format.
COLUMNS = (
    ("useful kWh", "useful_kwh", "{:,.1f}"),
    ("h without", "unserved_h", "{:,.1f}"),
    ("strokes a day", "strokes_per_day", "{:,.1f}"),
    ("jet h", "jet_h", "{:,.0f}"),
    ("pond low h", POND, "{:,.1f}"),
    ("turned away kWh", "curtailed_kwh", "{:,.1f}"),
)


def headings(pond: bool) -> list[str]:
    """Of the columns; `pond`: whether the site has a storage pond."""
    return [heading for heading, name, _ in COLUMNS if pond or name != POND]


def cells(figures: Figures, pond: bool) -> list[str]:
    """A row of these columns."""
    return [form.format(getattr(figures, name)) for _, name, form in COLUMNS if pond or name != POND]
