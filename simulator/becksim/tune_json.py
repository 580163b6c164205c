"""What `becklight tune --json` prints."""

from typing import Any

from becksim.tune import Judged, Tuning
from becksim.tuning.score import Figures
from becksim.tuning.sensitivity import Ranking


def as_json(result: Tuning) -> dict[str, Any]:
    """What `becklight tune --json` prints."""
    return {
        "wall_s": round(result.wall_s, 3),
        "site": result.site.site.name,
        "seed": result.seed,
        "days": result.days,
        "candidates": len(result.candidates),
        "years_played": result.played,
        "study": str(result.study),
        "objectives": [one.name for one in result.objectives],
        "years": {
            use: [{"key": year.key, "kind": year.kind, "words": year.words} for year in years]
            for use, years in (("tuning", result.years.tuning), ("judging", result.years.judging))
        },
        "notes": list(result.years.notes),
        "knobs": {
            knob.name: {"low": knob.low, "high": knob.high, "now": knob.present}
            for knob in result.space.knobs
        },
        "pinned": dict(result.space.fixed),
        "won": result.won,
        "verdict": list(result.verdict.sentences),
        "rules": dict(result.rules),
        "set": list(result.changes),
        "present": _judged_json(result.present),
        "tuned": None if result.tuned is None else _judged_json(result.tuned),
        "pareto_size": result.pareto_size,
        "pareto": [{**_judged_json(row), "knee": row.candidate is result.knee} for row in result.pareto],
        "effects": [
            {
                "setting": effect.name,
                "from": effect.before,
                "to": effect.after,
                "without": _rounded(effect.without),
            }
            for effect in result.effects
        ],
        "sensitivity": {
            name: _ranking_json(ranking)
            for name, ranking in (
                ("useful_kwh", result.kwh_ranking),
                ("strokes_per_day", result.stroke_ranking),
            )
        },
    }


def _judged_json(judged: Judged) -> dict[str, Any]:
    return {
        "settings": dict(judged.settings),
        "tuning": _rounded(judged.candidate.figures),
        "judging": _rounded(judged.mean),
        "judging_years": [_rounded(figures) for figures in judged.by_year],
    }


def _rounded(figures: Figures) -> dict[str, float]:
    return {name: round(value, 3) for name, value in figures.as_dict().items()}


def _ranking_json(ranking: Ranking | None) -> dict[str, Any] | None:
    if ranking is None:
        return None
    return {
        "explained": round(ranking.explained, 3),
        "few": [weight.name for weight in ranking.few],
        "settings": [
            {
                "setting": weight.name,
                "share": round(weight.share, 4),
                "low": round(weight.low, 4),
                "high": round(weight.high, 4),
                "rises": weight.rises,
            }
            for weight in ranking.weights
        ],
    }
