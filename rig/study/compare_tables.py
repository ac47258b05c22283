"""A comparison in tables; intervals are of 95 %."""

from rig.analysis.table import format_table
from rig.quantities.figures import signed
from rig.study.compare import Comparison
from rig.study.rows import stage_place
from rig.study.words import chance

Rows = list[tuple[str, ...]]


def angle(value: float | None, digits: int = 2) -> str:
    """A figure in degrees, or a dash."""
    return "–" if value is None else f"{value:.{digits}f}"


def interval(lower: float | None, upper: float | None) -> str:
    """An interval in degrees, or a dash."""
    if lower is None or upper is None or upper - lower == float("inf"):
        return "–"
    return f"{signed(lower)} … {signed(upper)}"


def tables(c: Comparison) -> str:
    """All tables, each with a heading."""
    n_runs = sum(cell.n_runs for cell in c.cells)
    blocks = [
        (
            f"Slide angles in degrees, 95 % intervals (runs: {n_runs})",
            _cells(c),
        ),
        (
            "Changes of bags, in degrees, corrected for the air",
            _changes(c),
        ),
        (
            f"Effects from {c.before} to {c.after}, in degrees "
            "(5 % per comparison; Tukey–Kramer: 5 % per face and board)",
            _effects(c),
        ),
        ("All groups alike? One-way analysis of variance of the bags' changes", _overall(c)),
        ("Treatment × climate, changes in degrees, sums of squares of type II", _anova(c)),
        ("Reference bag", _references(c)),
        ("Faces and boards, each bag with itself, degrees (5 % per comparison)", _contrasts(c)),
        (
            "Sets of bags, degrees (Tukey–Kramer, two sets Welch; 5 % per face, board and stage)",
            _sets(c),
        ),
        ("Precision in degrees (ISO 5725-3)", _precision(c)),
        ("Drift within series", _trends(c)),
        ("Far from the others of their series", _outliers(c)),
    ]
    return "\n\n".join(f"{title}\n{format_table(rows)}" for title, rows in blocks if len(rows) > 1)


def _cells(c: Comparison) -> Rows:
    rows: Rows = [
        ("bag", "face", "board", "stage", "air", "runs", "angle", "interval", "holds for")
    ]
    for one in sorted(c.cells, key=lambda m: (m.board, m.face, m.bag, stage_place(m.stage))):
        span = (
            "–"
            if one.lower_deg is None or one.upper_deg is None
            else f"{one.lower_deg:.2f} … {one.upper_deg:.2f}"
        )
        rows.append(
            (
                one.bag,
                one.face,
                one.board,
                one.stage,
                one.climate,
                f"{one.n_runs}",
                angle(one.angle_deg),
                span,
                one.scope,
            )
        )
    return rows


def _changes(c: Comparison) -> Rows:
    rows: Rows = [("bag", "group", "face", "board", "before", "after", "air", "change")]
    rows += [
        (
            one.bag,
            one.group,
            place.face,
            place.board,
            angle(one.before_deg),
            angle(one.after_deg),
            "–" if one.climate_change_pct is None else f"{signed(one.climate_change_pct, 0)} %RH",
            signed(one.change_deg),
        )
        for place, listed in c.changes.items()
        for one in listed
    ]
    return rows


def _effects(c: Comparison) -> Rows:
    rows: Rows = [
        (
            *("treatment", "against", "face", "board", "bags", "effect", "interval", "p"),
            *("family", "p", "found", "claimed for"),
        )
    ]
    rows += [
        (
            e.treatment,
            e.against or "–",
            e.face,
            e.board,
            f"{e.n_bags}/{e.n_against}",
            signed(e.effect_deg),
            interval(e.lower_deg, e.upper_deg),
            chance(e.p),
            interval(e.family_lower_deg, e.family_upper_deg),
            chance(e.family_p),
            "blocked"
            if e.blocked
            else "yes"
            if e.found_in_family
            else "alone"
            if e.found
            else "no",
            e.scope,
        )
        for e in c.effects
    ]
    return rows


def _overall(c: Comparison) -> Rows:
    rows: Rows = [("face", "board", "df", "F", "p")]
    rows += [
        (place.face, place.board, f"{o.df_between}, {o.df_within}", f"{o.f:.2f}", chance(o.p))
        for place, o in c.overall.items()
    ]
    return rows


def _anova(c: Comparison) -> Rows:
    rows: Rows = [("face", "board", "source", "df", "sum of squares", "F", "p", "against")]
    rows += [
        (
            place.face,
            place.board,
            t.name,
            f"{t.df}",
            f"{t.sum_of_squares:.3f}",
            "–" if t.f is None else f"{t.f:.2f}",
            "–" if t.p is None else chance(t.p),
            t.against,
        )
        for place, terms in c.by_climate.items()
        for t in terms
    ]
    return rows


def _references(c: Comparison) -> Rows:
    rows: Rows = [("board", "face", "kind", "session", "shift", "u", "p", "moved")]
    rows += [
        (
            s.board,
            s.face,
            s.kind,
            s.session,
            signed(s.shift_deg),
            angle(s.u_shift_deg),
            chance(s.p),
            "YES" if s.moved else "no",
        )
        for s in c.references
    ]
    return rows


def _contrasts(c: Comparison) -> Rows:
    rows: Rows = [("", "from", "to", "where", "bags", "difference", "interval")]
    rows += [
        (
            d.what,
            d.first,
            d.second,
            d.where,
            f"{d.n_bags}",
            signed(d.difference_deg),
            interval(d.lower_deg, d.upper_deg),
        )
        for d in c.faces_and_boards
    ]
    return rows


def _sets(c: Comparison) -> Rows:
    rows: Rows = [("face", "board", "stage", "from", "to", "difference", "interval", "p")]
    rows += [
        (
            s.face,
            s.board,
            s.stage,
            s.pair.first,
            s.pair.second,
            signed(s.pair.difference),
            interval(s.pair.lower, s.pair.upper),
            chance(s.pair.p),
        )
        for s in c.sets
    ]
    return rows


def _precision(c: Comparison) -> Rows:
    rows: Rows = [("face", "s_r (runs)", "r", "series", "sessions", "intermediate limit", "bags")]
    rows += [
        (
            face,
            angle(p.s_repeatability_deg),
            angle(p.repeatability_limit_deg),
            angle(p.s_series_deg),
            angle(p.s_session_deg),
            angle(p.intermediate_limit_deg),
            angle(p.s_bags_deg),
        )
        for face, p in c.precision.items()
    ]
    return rows


def _trends(c: Comparison) -> Rows:
    rows: Rows = [("face", "per slide", "u", "p", "series")]
    rows += [
        (
            face,
            signed(t.slope_deg_per_slide, 4),
            f"{t.u_slope_deg_per_slide:.4f}",
            chance(t.p),
            f"{t.n_series}",
        )
        for face, t in c.trends.items()
    ]
    return rows


def _outliers(c: Comparison) -> Rows:
    rows: Rows = [("run", "bag", "face", "series", "angle", "off by", "G", "critical")]
    rows += [
        (
            o.run_id,
            o.bag,
            o.face,
            o.series,
            angle(o.onset_angle_deg),
            signed(o.deviation_deg),
            f"{o.g:.2f}",
            f"{o.critical:.2f}",
        )
        for o in c.outliers
    ]
    return rows
