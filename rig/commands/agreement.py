"""`rig agreement`: how well rigs and readers agree on one bag."""

from pathlib import Path
from typing import Annotated

import typer

from rig.commands.options import Json, print_json, print_table, tell


def agreement(
    dataset: Annotated[Path, typer.Argument(metavar="DATASET", help="Made by `rig gather`.")],
    bag: Annotated[
        str, typer.Option("--bag", metavar="NAME", help="What the studies call it: `shared_as`.")
    ],
    face: Annotated[str | None, typer.Option("--face", metavar="F", help="Of the bag.")] = None,
    json: Json = False,
) -> None:
    """Say how well rigs and readers repeat one shared bag, and how well they agree (ISO 5725-2).

    Of each the longest series of the untreated bag counts, whatever the air: what the weather does
    is in the figures, so measure in like air.
    """
    from rig.gather.robin import round_robin as robin_of

    found = robin_of(dataset, bag, face)
    one = found.precision
    if json:
        print_json(
            {
                "bag": found.bag,
                "face": found.face,
                "mean_deg": one.mean,
                "s_r_deg": one.s_r,
                "s_l_deg": one.s_l,
                "s_reproducibility_deg": one.s_r_cap,
                "n_places": one.n_labs,
                "n_slides": one.n_results,
                "places": [
                    {
                        "who": cell.who,
                        "study": cell.study,
                        "n_slides": len(cell.angles_deg),
                        "mean_deg": cell.mean_deg,
                        "sd_deg": cell.sd_deg,
                    }
                    for cell in found.cells
                ],
            }
        )
        return
    rows: list[tuple[str, ...]] = [("rig or reader", "study", "slides", "mean °", "sd °")]
    for cell in found.cells:
        sd = "–" if cell.sd_deg is None else f"{cell.sd_deg:.2f}"
        rows.append((cell.who, cell.study, str(len(cell.angles_deg)), f"{cell.mean_deg:.2f}", sd))
    print(f"{found.bag}, {found.face}: {one.n_results} slides by {one.n_labs}, {one.mean:.2f}°\n")
    print_table(rows)
    print()
    tell(
        f"s_r {one.s_r:.2f}° (one of them, repeated), s_L {one.s_l:.2f}° (between them), s_R"
        f" {one.s_r_cap:.2f}° (any of them). In 95 %, two slides by different ones differ by at"
        f" most {2.8 * one.s_r_cap:.1f}°, two of one series by at most {2.8 * one.s_r:.1f}° (2.8 s,"
        " ISO 5725-6)."
    )
