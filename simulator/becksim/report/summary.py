"""A replayed year on one screen of a terminal."""

from typing import Any

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from becksim.replay import Replay, as_json
from becksim.report.words import CAUSE_WORDS, WORDS
from becksim.totals import JOULE_PER_KWH

POND_SHUT = ("pond_low", "pond_allowance")  # why a storage pond did not help a low battery
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def print_summary(result: Replay, console: Console) -> None:
    """Print the months, the balance with the hand-set jet, and how the plant was treated."""
    found = as_json(result)
    days = "1 day" if found["days"] == 1 else f"{found['days']} days"
    name, source = escape(found["site"]), escape(found["source"])
    console.print(f"[bold]{name}[/bold]: {days}, {source}", highlight=False)
    for note in found["notes"]:
        console.print(f"  Note: {note}", style="yellow", markup=False, highlight=False)
    console.print(_months(result))
    console.print(_gain(found))
    if "bound" in found:
        console.print(_bound(found))
    console.print(_valves(found))
    console.print(_reasons(found))
    for line in _treatment(found):
        console.print(line, highlight=False)


def _kwh(energy_j: float) -> str:
    return f"{energy_j / JOULE_PER_KWH:,.0f}"


def _months(result: Replay) -> Table:
    table = Table(title="kWh by month")
    for name in ("", "generated", "accepted", "curtailed", "sun", "load", "unserved", "hand-set jet"):
        table.add_column(name, justify="left" if not name else "right")
    rows = zip(MONTHS, result.controlled.months, result.by_hand.months, strict=True)
    for name, month, by_hand in rows:
        if month.seconds == 0.0:
            continue
        parts = (
            month.generated_j,
            month.accepted_j,
            month.curtailed_j,
            month.solar_j,
            month.load_j,
            month.unserved_j,
            by_hand.accepted_j,
        )
        table.add_row(name, *(_kwh(part) for part in parts))
    return table


def _gain(found: dict[str, Any]) -> Table:
    energy, by_hand = found["energy"], found["baseline"]
    table = Table(title="Beside one hand-set jet, reset once a week")
    for name in ("", "becklight", "hand-set jet"):
        table.add_column(name, justify="left" if not name else "right")
    rows = (
        ("accepted kWh", energy["accepted_kwh"], by_hand["accepted_kwh"], "{:,.0f}"),
        ("unserved kWh", energy["unserved_kwh"], by_hand["unserved_kwh"], "{:,.0f}"),
        ("hours in which the house went short", energy["unserved_h"], by_hand["unserved_h"], "{:,.1f}"),
        ("hours below the intake's floor", *_hours(found["level"], by_hand, "below_floor_s"), "{:,.2f}"),
        ("hours short of residual flow", *_hours(found["water"], by_hand, "residual_short_s"), "{:,.2f}"),
    )
    for name, ours, theirs, shape in rows:
        table.add_row(name, shape.format(ours), shape.format(theirs))
    return table


def _bound(found: dict[str, Any]) -> Table:
    bound, accepted_kwh = found["bound"], found["energy"]["accepted_kwh"]
    table = Table(title="Beside the best that was possible, had all days been known beforehand")
    for name in ("", "kWh", "of the best"):
        table.add_column(name, justify="left" if not name else "right")
    rows = [("the best that was possible", bound["useful_kwh"]), ("accepted", accepted_kwh)]
    lost = sorted(bound["lost_to"].items(), key=lambda row: -row[1])
    rows += [(CAUSE_WORDS[name], kwh) for name, kwh in lost if kwh]
    for place, (name, kwh) in enumerate(rows):
        share = kwh / bound["useful_kwh"] if bound["useful_kwh"] else 0.0
        table.add_row(name, f"{kwh:,.0f}" if place < 2 else f"{kwh:,.1f}", f"{100.0 * share:.1f} %")
        if place == 1:
            table.add_section()
    return table


def _hours(ours: dict[str, Any], theirs: dict[str, Any], key: str) -> tuple[float, float]:
    return ours[key] / 3600.0, theirs[key] / 3600.0


def _valves(found: dict[str, Any]) -> Table:
    table = Table(title="Valves")
    some_out = any(valve["out_h"] for valve in found["valves"].values())
    for name in ("", "hours open", "strokes", "strokes a day", *(["hours out"] if some_out else [])):
        table.add_column(name, justify="left" if not name else "right")
    for name, valve in found["valves"].items():
        row = [f"{valve['open_h']:,.0f}", f"{valve['strokes']:,}", f"{valve['strokes'] / found['days']:.1f}"]
        table.add_row(escape(name), *row, *([f"{valve['out_h']:,.1f}"] if some_out else []))
    return table


def _reasons(found: dict[str, Any]) -> Table:
    table = Table(title="Why the jets stood as they did")
    table.add_column("")
    table.add_column("hours", justify="right")
    for name, hours in sorted(found["reasons"].items(), key=lambda row: -row[1]):
        table.add_row(WORDS[name], f"{hours:,.1f}")
    return table


def _stream(stream: dict[str, Any]) -> str:
    told = f"Stream: mean {stream['mean_l_s']:,.1f} L/s"
    if stream["q95_l_s"] is not None:
        told += (
            f"; above {stream['q95_l_s']:,.1f} L/s on 95 days of 100, "
            f"{stream['q50_l_s']:,.1f} on half of them, {stream['q5_l_s']:,.1f} on 5"
        )
    if stream["base_flow_index"] is not None:
        told += f"; base-flow index {stream['base_flow_index']:.2f} ({stream['base_flow_method']})"
    if stream["recession_k_per_day"] is not None:
        told += f"; without rain {stream['recession_k_per_day']:.2f} of it is left a day later"
    if days := stream["days_below_residual"]:
        told += f"; less than the residual flow on {days} {'day' if days == 1 else 'days'}"
    return told + "."


def _works(found: dict[str, Any]) -> list[str]:
    """What only some plants have, where it did something."""
    water, lines = found["water"], []
    if second_m3 := water["second_source_m3"]:
        lines.append(f"Second source: {second_m3:,.0f} m3 came besides.")
    if water["storage_pond_released_m3"] or water["storage_pond_open_h"]:
        lines.append(
            f"Storage pond: {water['storage_pond_released_m3']:,.0f} m3 let down, its valve open for "
            f"{water['storage_pond_open_h']:,.1f} hours."
        )
    for name, hours in found["pond_reasons"].items():
        if name in POND_SHUT:
            lines.append(f"Its valve was shut for {hours:,.1f} hours: {WORDS[name]}.")
    if (lost_m3 := water["lost_m3"]) > 0.0:
        lines.append(f"Lost: {lost_m3:,.0f} m3 to ground and air.")
    elif lost_m3 < 0.0:
        lines.append(f"Rain on the ponds brought {-lost_m3:,.0f} m3 more than ground and air took.")
    if len(found["wheels"]) > 1:
        shares = (f"{one['generated_kwh']:,.0f} kWh by the {one['wheel']} one" for one in found["wheels"])
        lines.append(f"Wheels: {' and '.join(shares)}.")
    if frozen_h := water["frozen_h"]:
        lines.append(f"Frost: the pipe was frozen for {frozen_h:,.1f} hours.")
    if heater_kwh := found["energy"]["heater_kwh"]:
        lines.append(f"Heater: {heater_kwh:,.0f} kWh of surplus, which else would have been turned away.")
    return lines


def _control(control: dict[str, Any]) -> str:
    told = "Control: "
    if control["used_share"] is not None:
        told += f"{100 * control['used_share']:.0f} % of the water used that could be"
        if control["used_share_when_wanted"] is not None:
            told += f", {100 * control['used_share_when_wanted']:.0f} % while the battery was not full"
        told += "; "
    strokes, sets = control["strokes_per_day"], control["set_changes_per_day"]
    told += f"{strokes:.1f} strokes and {sets:.1f} changes of set a day"
    response_s = control["median_step_response_s"]
    if response_s is None:
        told += "; a sudden change of the stream takes it most of a day"
    else:
        minutes = response_s / 60.0
        after = f"{minutes:.0f} min" if minutes < 120.0 else f"{minutes / 60.0:.1f} h"
        told += f"; a sudden change of the stream is followed within {after} (median)"
    if spells := control["limit_cycles"]:
        often = "once" if spells == 1 else f"{spells} times"
        told += f"; [bold red]the valves swung at even intervals {often}, for a day or longer[/bold red]"
    return told + "."


def _treatment(found: dict[str, Any]) -> list[str]:
    water, level, surge = found["water"], found["level"], found["surge"]
    lines = [
        _stream(found["stream"]),
        f"Water: {water['inflow_m3']:,.0f} m3 came, {water['turbined_m3']:,.0f} m3 through the jets, "
        f"{water['spilled_m3']:,.0f} m3 let past.",
        *_works(found),
        _control(found["control"]),
        f"Intake: lowest level {level['min_mm']:,.0f} mm, floor {level['floor_mm']} mm; "
        f"below it with jets open for {level['below_floor_s']:,.0f} s; "
        f"pond below its lowest for {water['pond_low_s']:,.0f} s.",
        f"Pipe: worst surge of the {surge['trains']:,} moves {surge['peak_bar']:.2f} bar, lowest "
        f"{surge['trough_bar']:.2f} bar at the manifold; limit {surge['limit_bar']:.1f} bar.",
        f"Balances: water to {abs(water['balance_error_m3']):.1e} m3, "
        f"energy to {abs(found['balance_error_kwh']):.1e} kWh.",
        f"Controller: {found['controller_steps']:,} steps, {found['wall_s']:.1f} s; "
        f"orders {found['orders_sha256'][:16]}.",
    ]
    lines += [f"[bold red]Hazard:[/bold red] {escape(hazard)}" for hazard in found["hazards"]]
    return lines
