"""What `becklight size --json` prints."""

from typing import Any

from becksim.size import Plan, SizeReport
from becksim.sizing.energy import YearEnergy
from becksim.sizing.years import PlanYear

# The README's, those that a plan touches.
CAUTIONS = (
    "A full penstock is a pressure vessel: before you buy, ask becklight surge what closing these jets does "
    "to the pipe.",
    "A wheel that loses its load runs away to about twice its speed, and the voltage with it.",
    "Taking water, wildlife and wiring have local rules: ask the authority, and keep to licensed practice.",
    "A plan is arithmetic on a stream that will differ: bore the smallest size first, and measure.",
)


def as_json(report: SizeReport) -> dict[str, Any]:
    """The whole report, in trade units.

    Parameters
    ----------
    report : SizeReport
        What `becksim.size.size` found.

    Returns
    -------
    dict
    """
    pipe, wheel = report.pipe, report.wheel
    plans = {"proposed": report.proposed, "adjustable": report.adjustable, "today": report.today}
    return {
        "site": report.site.site.name,
        "source": report.years.source,
        "notes": list(report.years.notes),
        "seed": report.seed,
        "pipe": {
            "best_flow_l_s": round(1000.0 * pipe.best_flow_m3_s, 3),
            "head_lost_share": round(pipe.head_lost_share, 4),
            "velocity_m_s": round(pipe.velocity_m_s, 3),
            "gross_head_m": round(pipe.gross_head_m, 3),
            "net_head_m": round(pipe.net_head_m, 3),
            "submergence_mm": round(1000.0 * pipe.submergence_m, 1),
            "intake_crest_mm": round(1000.0 * pipe.crest_level_m, 1),
            "intake_flow_l_s": round(1000.0 * pipe.intake_flow_m3_s, 3),
            "most_flow_l_s": round(1000.0 * pipe.most_flow_m3_s, 3),
            "today_most_flow_l_s": round(1000.0 * pipe.today_most_flow_m3_s, 3),
            "today_submergence_mm": round(1000.0 * pipe.today_submergence_m, 1),
        },
        "jets": {
            **{name: _jets(plan) for name, plan in plans.items()},
            "sets": [
                {
                    "jets": list(row.names),
                    "flow_l_s": round(1000.0 * row.flow_m3_s, 3),
                    "with_trim_l_s": round(1000.0 * row.full_trim_flow_m3_s, 3),
                    "power_w": round(row.power_w, 1),
                    "within_reach": row.flow_m3_s <= pipe.most_flow_m3_s,
                }
                for row in report.sets
            ],
            "largest_step_l_s": round(1000.0 * report.steps.largest_m3_s, 3),
            "trim_flow_l_s": round(1000.0 * report.steps.trim_m3_s, 3),
            "trim_covers_every_step": not report.steps.gaps_m3_s,
            "gaps_l_s": [
                [round(1000.0 * low_m3_s, 3), round(1000.0 * high_m3_s, 3)]
                for low_m3_s, high_m3_s in report.steps.gaps_m3_s
            ],
        },
        "wheel": {
            "flow_l_s": round(1000.0 * wheel.flow_m3_s, 3),
            "net_head_m": round(wheel.net_head_m, 3),
            "power_w": round(wheel.power_w, 1),
            "jet_velocity_m_s": round(wheel.jet_velocity_m_s, 3),
            "bucket_speed_m_s": round(wheel.bucket_speed_m_s, 3),
            "rpm": round(wheel.rpm, 1),
            "best_bus_v": round(wheel.best_bus_v, 1),
            "free_run_bus_v": round(wheel.free_run_bus_v, 1),
            "least_bus_v": round(wheel.least_bus_v, 1),
            "most_bus_v": round(wheel.most_bus_v, 1),
            "pitch_diameter_mm": round(1000.0 * wheel.pitch_m, 1),
            "pitch_for_limit_mm": round(1000.0 * wheel.limit_pitch_m, 1),
            "rpm_for_limit": round(wheel.limit_rpm, 1),
            "best_bus_v_for_limit": round(wheel.limit_best_bus_v, 1),
            "voltage_v_per_rpm_for_limit": round(wheel.limit_volts_per_rpm, 5),
            "largest_nozzle_mm": round(1000.0 * wheel.largest_nozzle_m, 2),
            "largest_jet_mm": round(1000.0 * wheel.largest_jet_m, 2),
            "pitch_over_jet": round(wheel.pitch_over_jet, 2),
            "buckets": wheel.buckets,
            "bucket_width_mm": round(1000.0 * wheel.bucket_width_m, 1),
            "complaints": list(wheel.complaints),
        },
        "years": {
            kind: {
                "which": year.words,
                "days": year.days,
                "mean_flow_l_s": round(1000.0 * float(year.stream_m3_s.mean()), 3),
                "mean_usable_l_s": round(1000.0 * float(year.usable_m3_s.mean()), 3),
                "months": _months(report, kind, year),
            }
            for kind, year in (("typical", report.years.typical), ("dry", report.years.dry))
        },
        "comparison": {
            name: {
                "score_kwh": round(plan.score_kwh, 1),
                "typical": _energy(plan.typical),
                "dry": _energy(plan.dry),
            }
            for name, plan in plans.items()
        },
        "plans_played": report.plans_played,
        "hazards": list(wheel.hazards),
        "cautions": list(CAUTIONS),
    }


def _jets(plan: Plan) -> list[dict[str, Any]]:
    return [
        {
            "name": jet.name,
            "kind": jet.kind,
            "diameter_mm": round(1000.0 * jet.diameter_m, 2),
            "valve_bore_mm": round(1000.0 * jet.valve_bore_m, 2),
        }
        for jet in plan.jets
    ]


def _energy(energy: YearEnergy) -> dict[str, float]:
    return {
        "generated_kwh": round(energy.generated_kwh, 1),
        "accepted_kwh": round(energy.accepted_kwh, 1),
        "unserved_kwh": round(energy.unserved_kwh, 1),
    }


def _months(report: SizeReport, kind: str, year: PlanYear) -> list[dict[str, Any]]:
    rows = []
    for month in range(12):
        row: dict[str, Any] = {
            "month": month + 1,
            "mean_usable_l_s": _round_mean_l_s(year, month),
        }
        for name in ("proposed", "adjustable", "today"):
            sums = getattr(getattr(report, name), kind).months[month]
            row[name] = {key: round(value, 2) for key, value in vars(sums).items()}
        rows.append(row)
    return rows


def _round_mean_l_s(year: PlanYear, month: int) -> float | None:
    """None for a month that a short record has not."""
    hours = [flow for flow, at in zip(year.usable_m3_s.tolist(), year.month, strict=True) if at == month]
    return round(1000.0 * sum(hours) / len(hours), 3) if hours else None
