"""Choosing among the sets of jets."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from becklight.menu import ANY, Menu
from becklight.settings import Settings
from becklight.tables import interpolate
from becklight.wear import Evenness

PLAIN = {"set_hysteresis_ml_s": 0, "trim_cost_permille": 0, "travel_cost_ml_s": 0, "trim_least_permille": 0}


def _choice(menu, wanted_ml_s, now_set=None, now_trim_permille=0, only_set=ANY):
    menu.choose(wanted_ml_s, menu.closed if now_set is None else now_set, now_trim_permille, only_set)
    return menu.masks[menu.set], menu.trim_permille, menu.flow_ml_s


@st.composite
def _menus(draw):
    """A random plant: its counts of jets, and a flow for every set and trim opening."""
    fixed = draw(st.integers(1, 6))
    trims = draw(st.integers(1, 2))
    jets = draw(st.lists(st.integers(50, 4_000), min_size=fixed, max_size=fixed))
    steps = draw(st.lists(st.integers(0, 600), min_size=10 * trims, max_size=10 * trims))
    costs = {
        "set_hysteresis_ml_s": draw(st.integers(0, 500)),
        "trim_cost_permille": draw(st.integers(0, 1_000)),
        "travel_cost_ml_s": draw(st.integers(0, 200)),
        "trim_least_permille": draw(st.integers(0, 200)),
    }
    return fixed, trims, jets, steps, costs


def _random_settings(plant, drawn):
    fixed, trims, jets, steps, costs = drawn
    table = plant(fixed, trims, **costs)
    for row in table["menu"]["sets"]:
        flows = [sum(jets[jet] for jet in range(fixed) if row["mask"] >> jet & 1)]
        for step in steps:
            flows.append(flows[-1] + step)
        row["flow_ml_s"] = flows
    return Settings(table)


@settings(max_examples=60, deadline=None)
@given(drawn=_menus(), wanted_ml_s=st.integers(0, 30_000), data=st.data())
def test_any_menu_any_flow(plant, drawn, wanted_ml_s, data):
    """Never more than wanted, openings in range, and the flow is that of the standing it names."""
    read = _random_settings(plant, drawn)
    menu = Menu(read)
    now_set = data.draw(st.integers(0, len(menu.masks) - 1))
    now_trim = data.draw(st.integers(0, read.trim_permille[-1]))
    only_set = data.draw(st.sampled_from([ANY, now_set]))
    mask, trim_permille, flow_ml_s = _choice(menu, wanted_ml_s, now_set, now_trim, only_set)
    assert flow_ml_s <= wanted_ml_s
    assert 0 <= trim_permille <= read.trim_permille[-1]
    assert trim_permille == 0 or trim_permille >= read.rules.trim_least_permille
    assert flow_ml_s == menu.flow_at(menu.set, trim_permille)
    if only_set != ANY:
        assert menu.set in (only_set, menu.closed)


@settings(max_examples=60, deadline=None)
@given(drawn=_menus(), wanted_ml_s=st.integers(0, 30_000))
def test_without_other_wishes_no_standing_comes_nearer(plant, drawn, wanted_ml_s):
    read = _random_settings(plant, (*drawn[:4], PLAIN))
    menu = Menu(read)
    _, _, flow_ml_s = _choice(menu, wanted_ml_s)
    for row in read.set_flow_ml_s:
        for standing_ml_s in row:
            if standing_ml_s <= wanted_ml_s:
                assert standing_ml_s <= flow_ml_s


@settings(max_examples=60, deadline=None)
@given(drawn=_menus(), wanted_ml_s=st.integers(0, 30_000))
def test_within_the_set_no_wider_opening_gives_more_and_no_smaller_one_as_much(plant, drawn, wanted_ml_s):
    read = _random_settings(plant, (*drawn[:4], PLAIN))
    menu = Menu(read)
    for place, flows in enumerate(read.set_flow_ml_s):
        if flows[0] <= wanted_ml_s:
            _, trim, _ = _choice(menu, wanted_ml_s, only_set=place)
            line = [_line(flows, trim + change) for change in (-1, 0, 1)]
            assert trim == 0 or line[0] < line[1]
            assert line[2] > 100 * wanted_ml_s or line[2] == line[1]


def _line(flows, permille):
    """A hundred times the unrounded flow at an opening; points lie 100 permille apart."""
    permille = max(0, min(100 * (len(flows) - 1), permille))
    point = min(permille // 100, len(flows) - 2)
    return flows[point] * 100 + (flows[point + 1] - flows[point]) * (permille - 100 * point)


def test_nothing_wanted_closes_everything(hostel):
    assert _choice(Menu(Settings(hostel())), 0, now_set=5, now_trim_permille=700) == (0, 0, 0)


def test_plenty_wanted_opens_everything(hostel):
    table = hostel()
    menu = Menu(Settings(table))
    most_ml_s = table["menu"]["sets"][7]["flow_ml_s"][-1]
    assert _choice(menu, 100_000) == (7, 1000, most_ml_s)
    assert menu.most_flow_ml_s == most_ml_s


@settings(max_examples=80, deadline=None)
@given(
    lowest_ml_s=st.integers(0, 10_000),
    swings=st.lists(st.floats(0, 0.999), min_size=8, max_size=16),
    now_set=st.integers(0, 7),
)
def test_a_swing_smaller_than_the_hysteresis_never_goes_back_to_a_set_it_left(
    hostel, lowest_ml_s, swings, now_set
):
    read = Settings(hostel())
    menu = Menu(read)
    trim_permille = 0
    left = []
    for swing in swings:
        menu.choose(lowest_ml_s + int(swing * read.rules.set_hysteresis_ml_s), now_set, trim_permille, ANY)
        if menu.set != now_set:
            left.append(now_set)
            assert menu.set not in left
        now_set, trim_permille = menu.set, menu.trim_permille


def test_a_flow_that_two_sets_reach_stays_with_the_present_one(settings_of):
    menu = Menu(settings_of(3, 1))
    wanted_ml_s = menu.flow_at(1, 600)  # the smallest jet with the trim, or the middle one with less of it
    for now_mask in (1, 2):
        trim_permille = 600 if now_mask == 1 else 350
        _choice(menu, wanted_ml_s, now_set=menu.masks.index(now_mask), now_trim_permille=trim_permille)
        assert menu.masks[menu.set] == now_mask


def test_fixed_jets_are_preferred_to_the_trim(settings_of):
    menu = Menu(settings_of(3, 1, travel_cost_ml_s=0))
    # what the third jet gives, and so does the trim alone
    flow_ml_s = menu.settings.set_flow_ml_s[4][0]
    assert menu.flow_at(menu.closed, 1000) >= flow_ml_s
    mask, trim_permille, _ = _choice(menu, flow_ml_s + 5)
    assert mask != 0
    assert trim_permille == 0


def test_the_trim_cost_is_what_prefers_them(settings_of):
    menu = Menu(settings_of(3, 1, travel_cost_ml_s=0, trim_cost_permille=0))
    flow_ml_s = menu.settings.set_flow_ml_s[4][0]
    assert _choice(menu, flow_ml_s + 5)[0] == 0


def _two_equal_jets(plant):
    table = plant(2, 1, set_hysteresis_ml_s=0)
    sets = table["menu"]["sets"]
    for key in ("flow_ml_s", "bus_mv", "pressure_mbar"):
        sets[2][key] = list(sets[1][key])
    return Settings(table)


@pytest.mark.parametrize("now_mask", [1, 2])
def test_least_travel_among_equals(plant, now_mask):
    menu = Menu(_two_equal_jets(plant))
    wanted_ml_s = menu.flow_at(1, 500)
    assert _choice(menu, wanted_ml_s, now_set=now_mask, now_trim_permille=500)[0] == now_mask


def test_travel_counts_whole_strokes_of_every_jet_that_changes(settings_of):
    menu = Menu(settings_of(4, 2))
    assert menu.travel_permille(menu.masks.index(0b1010), 1500, menu.masks.index(0b0110), 300) == 3200


@pytest.mark.parametrize("only_set", range(8))
def test_only_the_set_asked_for(hostel, only_set):
    menu = Menu(Settings(hostel()))
    assert _choice(menu, menu.flow_at(7, 300), only_set=only_set)[0] == only_set


def test_a_set_asked_for_that_takes_too_much_gives_way_to_closed(hostel):
    menu = Menu(Settings(hostel()))
    assert _choice(menu, menu.flow_at(7, 0) - 1, now_set=7, only_set=7) == (0, 0, 0)


def test_a_needle_barely_off_its_seat_stays_shut(settings_of):
    menu = Menu(settings_of(1, 1, trim_least_permille=50))
    smallest_ml_s = menu.flow_at(menu.closed, 50)
    assert _choice(menu, smallest_ml_s - 10)[1:] == (0, 0)
    assert _choice(menu, smallest_ml_s + 10)[1] >= 50


def test_power_and_pressure_are_read_beside_the_flow(hostel):
    table = hostel()
    menu = Menu(Settings(table))
    row = table["menu"]["sets"][3]
    assert (menu.bus_at(3, 400), menu.pressure_at(3, 400)) == (row["bus_mv"][4], row["pressure_mbar"][4])
    assert menu.pressure_at(3, 450) == (row["pressure_mbar"][4] + row["pressure_mbar"][5]) // 2


def test_nothing_wanted_shuts_a_trim_that_opens_late(plant):
    table = plant(1, 1)
    for row in table["menu"]["sets"]:
        row["flow_ml_s"][1] = row["flow_ml_s"][0]  # no flow yet at a tenth of the travel
    assert _choice(Menu(Settings(table)), 0) == (0, 0, 0)


def test_the_smallest_set_that_is_left(settings_of):
    menu = Menu(settings_of(3, 1))
    alone = [menu.flow_at(menu.masks.index(bit), 0) for bit in (1, 2, 4)]
    assert menu.least_ml_s() == alone[0]
    menu.lock([True, False, False, False])
    assert menu.least_ml_s() == alone[1]
    menu.lock([True, True, True, False])
    assert menu.least_ml_s() == 0


# -- two wheels, and trims of which one is out ------------------------------------------------------


def _locks(read, valves):
    return [valve in valves for valve in range(len(read.valves))]


def test_with_the_first_trim_out_the_second_gives_what_its_area_gives(plant):
    read = Settings(plant(2, 2, **PLAIN))
    menu, whole = Menu(read), Menu(read)
    first, second = read.trims
    menu.lock(_locks(read, [first]))
    goal = [-1] * 4
    for permille in range(100, 1_001, 100):
        # Both trims are alike here, so the second alone is as the first alone; but for the table's rounding.
        wanted_ml_s = whole.flow_at(1, permille) + 5
        menu.choose(wanted_ml_s, 1, 0, 1)
        assert abs(menu.flow_ml_s - whole.flow_at(1, permille)) <= 5
        assert abs(menu.trim_permille - 1_000 - permille) <= 10
        assert abs(menu.pressure_at(1, menu.trim_permille) - whole.pressure_at(1, permille)) <= 2
        assert menu.bus_at(1, menu.trim_permille) == 0
        menu.aim(goal)
        assert goal == [1_000, 0, 0, menu.trim_permille - 1_000]
    assert menu.most_flow_ml_s <= whole.flow_at(whole.masks.index(3), 1_000) + 5
    menu.lock(_locks(read, []))
    menu.take(1, 1_300)
    menu.aim(goal)
    assert goal == [1_000, 0, 1_000, 300]


@settings(max_examples=80, deadline=None)
@given(
    drawn=_menus(),
    wanted_ml_s=st.integers(0, 30_000),
    out=st.integers(0, 255),
    now_trim=st.integers(0, 2_000),
    data=st.data(),
)
def test_what_is_out_is_never_opened_and_no_more_taken_than_wanted(
    plant, drawn, wanted_ml_s, out, now_trim, data
):
    fixed, trims, _, _, costs = drawn
    read = Settings(plant(fixed, trims, **costs))
    menu = Menu(read)
    menu.lock([out >> valve & 1 == 1 for valve in range(fixed + trims)])
    now_set = data.draw(st.integers(0, len(menu.masks) - 1))
    now_trim = min(now_trim, read.trim_permille[-1])
    goal = [0] * (fixed + trims)
    for closing in (False, True):
        if closing:
            menu.choose_less(wanted_ml_s, now_set, now_trim)
        else:
            menu.choose(wanted_ml_s, now_set, now_trim, ANY)
        menu.aim(goal)
        assert menu.flow_ml_s <= wanted_ml_s
        assert menu.flow_ml_s == menu.flow_at(menu.set, menu.trim_permille)
        assert menu.flow_ml_s <= menu.most_flow_ml_s
        for valve in range(fixed + trims):
            assert 0 <= goal[valve] <= (0 if out >> valve & 1 else 1_000)
        least = read.rules.trim_least_permille
        if not closing:  # one that closes may pass there
            assert all(goal[valve] == 0 or goal[valve] >= least for valve in read.trims)


def test_the_smallest_flow_of_the_second_trim_alone_lets_it_open(plant):
    read = Settings(plant(1, 2, trim_least_permille=150))
    menu = Menu(read)
    menu.lock(_locks(read, [0, read.trims[0]]))
    least_ml_s = menu.least_ml_s()
    menu.choose(least_ml_s, menu.closed, 0, ANY)
    assert menu.trim_permille >= 1_150
    assert menu.flow_ml_s >= read.rules.flow_deadband_ml_s


def test_a_spare_beside_is_started_only_for_clearly_more_water(plant):
    costs = {**PLAIN, "set_hysteresis_ml_s": 300}
    read = Settings(plant(2, 1, spare=[1], **costs))
    menu = Menu(read)
    main, spare = menu.masks.index(1), menu.masks.index(2)
    for wanted_ml_s in range(menu.flow_at(spare, 0), menu.flow_at(menu.masks.index(3), 1_000), 50):
        menu.choose(wanted_ml_s, main, 0, ANY)
        alone = Menu(read)
        alone.lock([False, True, False])
        alone.choose(wanted_ml_s, main, 0, ANY)
        uses_spare = menu.masks[menu.set] & 2
        # Worth it: as much more as the start of the wheel and the change of set cost.
        assert bool(uses_spare) == (menu.flow_ml_s - alone.flow_ml_s > 300 + 300 * (menu.set != main))
    menu.lock([True, False, False])  # the main wheel's trim still serves
    assert menu.spare_cost_ml_s == 300
    menu.lock([True, False, True])
    assert menu.spare_cost_ml_s == 0


# -- edges ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("further_ml_s", [0, 1, 4])
def test_a_stretch_that_gives_nothing_is_not_travelled_for_less_than_a_permille_after_it(plant, further_ml_s):
    table = plant(1, 1)
    for row in table["menu"]["sets"]:
        row["flow_ml_s"][5:] = [row["flow_ml_s"][4]] + [row["flow_ml_s"][4] + 500] * 5
    menu = Menu(Settings(table))
    flow_ml_s = menu.flow_at(menu.closed, 400)
    assert _choice(menu, flow_ml_s + further_ml_s)[1:] == (400, flow_ml_s)


def test_locks_are_given_back_as_well(settings_of):
    menu = Menu(settings_of(3, 2))
    for trims, most_trim_permille in (([True, True], 0), ([False, True], 1_000), ([True, False], 2_000)):
        menu.lock([True, False, True, *trims])
        assert [menu.masks[place] for place in range(8) if not menu.locked(place)] == [0b000, 0b010]
        assert menu.most_trim_permille == most_trim_permille
    menu.lock([False] * 5)
    assert not any(menu.locked(place) for place in range(8))
    assert menu.most_trim_permille == 2_000


def test_what_is_taken_stands_as_told_but_for_trims_that_are_out(settings_of):
    menu = Menu(settings_of(3, 1))
    menu.take(5, 700)
    assert (menu.set, menu.trim_permille, menu.flow_ml_s) == (5, 700, menu.flow_at(5, 700))
    menu.lock([False, False, False, True])
    menu.take(5, 700)
    assert (menu.set, menu.trim_permille, menu.flow_ml_s) == (5, 0, menu.flow_at(5, 0))
    assert _choice(menu, menu.flow_at(5, 700), only_set=5) == (5, 0, menu.flow_at(5, 0))


@pytest.mark.parametrize(("open_min", "taken"), [(None, 1), ([0, 0], 1), ([60, 0], 2), ([0, 60], 1)])
def test_of_equal_jets_the_first_unless_it_has_run_more(plant, open_min, taken):
    read = _two_equal_jets(plant)
    menu = Menu(read)
    if open_min is not None:
        menu.even = Evenness(read)
        menu.even.open_min = open_min
    assert _choice(menu, menu.flow_at(1, 0))[0] == taken


@settings(max_examples=40, deadline=None)
@given(
    wanted_ml_s=st.integers(0, 12_000),
    now_set=st.integers(0, 7),
    now_trim=st.integers(0, 1_000),
    locked=st.lists(st.booleans(), min_size=4, max_size=4),
)
def test_by_closing_alone_nothing_comes_nearer(settings_of, wanted_ml_s, now_set, now_trim, locked):
    menu = Menu(settings_of(3, 1))
    menu.lock(locked)
    best_ml_s = 0
    for place in range(8):
        if menu.masks[place] & ~menu.masks[now_set] or menu.locked(place):
            continue
        for trim in range(0, 1 if locked[3] else now_trim + 1):
            flow_ml_s = menu.flow_at(place, trim)
            if flow_ml_s <= wanted_ml_s and (trim == 0 or trim >= menu.settings.rules.trim_least_permille):
                best_ml_s = max(best_ml_s, flow_ml_s)
    menu.choose_less(wanted_ml_s, now_set, now_trim)
    # an opening is rounded down to a permille, which is some 2 mL/s here
    assert best_ml_s - 3 <= menu.flow_ml_s <= wanted_ml_s
    assert menu.flow_ml_s == menu.flow_at(menu.set, menu.trim_permille)
    assert menu.masks[menu.set] & ~menu.masks[now_set] == 0
    assert menu.trim_permille <= now_trim
    assert not menu.locked(menu.set)


def test_the_second_trim_alone_gives_what_its_own_area_gives(plant):
    table = plant(1, 2)
    table["valves"][2]["area_dmm2"] = [area // 2 for area in table["valves"][2]["area_dmm2"]]
    read = Settings(table)
    menu = Menu(read)
    menu.lock(_locks(read, [read.trims[0]]))
    area_dmm2 = read.valves[2].area_dmm2[-1]
    expected_ml_s = interpolate(read.manifold_area_dmm2, read.manifold_flow_ml_s, area_dmm2)
    assert menu.flow_at(menu.closed, 2_000) == expected_ml_s


def test_with_the_first_trim_out_the_bus_is_told_as_long_as_the_second_is_shut(plant):
    read = Settings(plant(1, 2, trim_least_permille=150))
    menu = Menu(read)
    menu.lock(_locks(read, [0, read.trims[0]]))
    assert menu.bus_at(1, 0) == read.set_bus_mv[1][0]
    assert menu.least_ml_s() == menu.flow_at(menu.closed, 1_150) + 2 * read.rules.flow_deadband_ml_s
