"""Slides of small studies, for the model's tests."""

from collections.abc import Sequence

from rig.study.slides.slide import Applied, Slide


def slides_of(
    bag: str,
    session: str,
    angles: Sequence[float],
    *,
    face: str = "slick",
    board: str = "board",
    treated: Sequence[str] = (),
    humidity: float | None = 50.0,
    reader: str | None = None,
    before: int = 0,
    model: str = "heron",
    day: int = 1,
    **more: object,
) -> list[Slide]:
    """One series; its treatments were given on the days before in the order of their names."""
    applied = tuple(
        Applied(recipe, (), f"2026-03-{day:02d}T0{i}:00:00Z", 1000 * i + sum(map(ord, bag)))
        for i, recipe in enumerate(treated)
    )
    slides = [
        Slide(
            slide_id=f"{session} {bag} {face} {board} {reader} {k}",
            source="hand" if reader else "rig",
            at=f"2026-03-{day:02d}T12:{k:02d}:00Z",
            rig=None if reader else "one",
            reader=reader,
            bag=bag,
            model=model,
            face=face,
            board=board,
            session=session,
            series=f"{session} {bag} {face} {board} {reader}",
            slide_number=k,
            slides_before=before + k - 1,
            treatments=applied,
            temperature_c=22.0,
            surface_humidity_pct=humidity,
            rate_deg_s=None if reader else 1.0,
            onset_angle_deg=angle,
            outcome="slid",
            valid=True,
            slid=True,
        )
        for k, angle in enumerate(angles, start=1)
    ]
    return [_with(slide, more) for slide in slides]


def _with(slide: Slide, more: dict[str, object]) -> Slide:
    from msgspec.structs import replace

    return replace(slide, **more)
