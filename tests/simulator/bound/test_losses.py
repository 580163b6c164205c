"""Where the rest went: every reason has a cause, they add up, and each shows what is done to the plant."""

import pytest

from becklight import reasons
from becksim.bound.ledger import CAUSE_OF, CAUSES, FOLLOWING, FORESIGHT, Ledger
from becksim.bound.losses import Bound
from becksim.replay import as_json, replay
from becksim.report.words import CAUSE_WORDS
from becksim.site import load_site
from becksim.totals import JOULE_PER_KWH

BOX = "millbrook-smallholding"
POND = "upland-hostel"
# A house that always wants more, so that every cubic metre is worth something.
HUNGRY = ["house.daily_kwh=60", "battery.start_percent=30"]


def test_every_reason_has_a_cause_and_every_cause_its_words():
    assert set(CAUSE_OF) == set(reasons.NAMES)
    assert set(CAUSE_OF.values()) <= set(range(len(CAUSES))) - {FORESIGHT}
    assert set(FOLLOWING) <= set(reasons.NAMES)
    assert set(CAUSE_WORDS) == set(CAUSES)
    assert len(set(CAUSE_WORDS.values())) == len(CAUSES)


def lost(name, *changes, **options):
    """The bound of two days in the dry season's record, and the replay."""
    options = {"days": 2, "bound": True, "flows": "synthetic", **options}
    result = replay(load_site(name, list(changes)), **options)
    return result.bound, result


@pytest.mark.parametrize("name", [BOX, POND])
def test_the_causes_add_up_to_what_is_missing_and_none_is_below_nothing(name):
    bound, result = lost(name, *HUNGRY)
    assert bound.accepted_kwh == pytest.approx(result.whole.accepted_j / JOULE_PER_KWH, abs=1e-3)
    assert sum(bound.lost_to.values()) == pytest.approx(bound.useful_kwh - bound.accepted_kwh, abs=1e-9)
    assert min(bound.lost_to.values()) >= 0.0
    assert list(bound.lost_to) == list(CAUSES)
    assert 0.5 < bound.share < 1.0


@pytest.mark.parametrize("name", [BOX, POND])
def test_asking_for_it_changes_no_order_and_it_is_not_told_unasked(name):
    site = load_site(name)
    without, with_ = replay(site, days=1), replay(site, days=1, bound=True)
    assert without.orders_sha256 == with_.orders_sha256
    assert without.whole == with_.whole
    assert without.bound is None
    assert "bound" not in as_json(without)
    assert as_json(with_)["bound"]["lost_to"] == with_.bound.lost_to


def test_the_ledgers_hours_are_the_replays_sums(monkeypatch):
    ledgers = []

    class Kept(Ledger):
        def __init__(self, *args):
            super().__init__(*args)
            ledgers.append(self)

    monkeypatch.setattr("becksim.replay.Ledger", Kept)
    _, result = lost(BOX, *HUNGRY)
    (ledger,), whole = ledgers, result.whole
    assert sum(ledger.drawn_m3) == pytest.approx(whole.turbined_m3)
    assert sum(ledger.made_j) == pytest.approx(whole.generated_j)
    assert sum(ledger.accepted_j) == pytest.approx(whole.accepted_j)
    assert sum(ledger.sun_j) == pytest.approx(whole.solar_j)
    assert sum(map(sum, ledger.seconds)) == pytest.approx(48 * 3600.0)
    drawn_more_m3 = sum(map(sum, ledger.left_m3)) - (whole.usable_m3 - whole.turbined_m3)
    assert 0.0 <= drawn_more_m3 < 0.05 * whole.turbined_m3
    water = result.controlled.water
    assert ledger.kept_m3[-1] == pytest.approx(water.basin.volume_m3(water.level_m))


def test_what_the_owner_stops_is_laid_to_faults(tmp_path):
    stopped = tmp_path / "stopped.csv"
    stopped.write_text("day,order,what,hours\n0.5,stop,,24\n", encoding="utf-8")
    usual, _ = lost(BOX, *HUNGRY)
    bound, result = lost(BOX, *HUNGRY, owner=stopped)
    missing_kwh = usual.accepted_kwh - result.whole.accepted_j / JOULE_PER_KWH
    assert usual.lost_to["faults"] == 0.0
    assert bound.lost_to["faults"] == pytest.approx(missing_kwh, rel=0.15)
    assert bound.lost_to["waiting"] < 0.1  # a stop is no move of the device's own


def test_a_level_kept_high_is_told_as_caution():
    usual, _ = lost(BOX, *HUNGRY)
    bound, _ = lost(BOX, *HUNGRY, "rules.level_target_mm=400")
    assert bound.lost_to["caution"] > usual.lost_to["caution"]
    assert bound.share < usual.share


def test_what_a_full_battery_is_eased_off_for_is_told_as_such():
    hungry, _ = lost(BOX, *HUNGRY)
    full, _ = lost(BOX, "battery.start_percent=100", days=1)
    assert hungry.lost_to["battery_rule"] == 0.0
    assert full.lost_to["battery_rule"] > 0.5 * (full.useful_kwh - full.accepted_kwh)


def test_a_slow_start_is_laid_to_waiting():
    """The hostel's pond answers by hours; in January water is worth only what the battery lacks."""
    bound, _ = lost(POND, days=1)
    assert bound.lost_to["waiting"] > 0.8 * (bound.useful_kwh - bound.accepted_kwh)


def test_where_there_was_nothing_to_be_had_the_share_is_one():
    assert Bound(0.0, 0.0, {}, 0.0).share == 1.0
