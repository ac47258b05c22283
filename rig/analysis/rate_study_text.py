"""A rate study in plain sentences."""

from rig.analysis.rate_study import AGEING_PCT, DOUBT_P, RateStudy
from rig.analysis.table import Rows


def rate_rows(study: RateStudy) -> Rows:
    """One row per rate under a row of titles."""
    titles = "°/s|runs|mean angle °|law's part °|u study °|u ageing °|u with °|u without °|used"
    rows: Rows = [tuple(titles.split("|"))]
    for at in study.rates:
        figures = (at.mean_angle_deg, at.shift_deg, at.u_shift_deg, at.u_ageing_deg)
        totals = (at.u_with_deg, at.u_without_deg)
        rows.append(
            (
                f"{at.rate_deg_s:g}",
                str(at.n_runs),
                *(f"{value:.3f}" for value in (*figures, *totals)),
                "yes" if at.used else "no",
            )
        )
    return rows


def study_words(study: RateStudy) -> list[str]:
    """What was found, whether the line holds, whether it was used, and what may bend it."""
    name = " ".join(word for word in (study.bag, study.face, study.treatment_stage) if word)
    words = [
        f"Rate study{' of ' + name if name else ''}, session {study.session}: the onset angle grows"
        f" by {study.slope_deg:+.3f} ± {study.u_slope_deg:.3f}° times (rate in °/s)^(2/3), from"
        f" {study.intercept_deg:.3f} ± {study.u_intercept_deg:.3f}° at rate 0 (standard errors)."
    ]
    p = study.lack_of_fit_p
    if study.line_holds:
        words.append(f"The line holds as far as these runs can tell (lack of fit p = {p:.2g}).")
    else:
        words.append(
            f"The line does not hold (lack of fit p = {p:.2g}, below {DOUBT_P:g}): the study is not"
            " used, and the stated range of the friction law stays in the budget."
        )
    used = [f"{at.rate_deg_s:g}" for at in study.rates if at.used]
    if used:
        words.append(
            f"It makes the uncertainty smaller at {', '.join(used)} °/s: those angles are shifted"
            " to the intercept, and the study's uncertainty stands in the place of the law's."
        )
    elif study.line_holds:
        words.append("It makes no uncertainty smaller, so nothing is shifted.")
    feigned = AGEING_PCT * study.ageing_slope_deg
    words.append(
        "Contact ageing can bend the line and no test here sees it: a slower raise rests longer,"
        f" and friction that grows by 0…{AGEING_PCT:g} % per tenfold time of contact feigns a slope"
        f" of {min(feigned, 0.0):.2f}…{max(feigned, 0.0):.2f}°; that is in u ageing. A longer"
        " --dwell makes it smaller."
    )
    return words
