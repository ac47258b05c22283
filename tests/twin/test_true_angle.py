from rig.twin.invented import true_angle_deg


def angle(bag: str = "Heron 1", stage: str = "baseline", humidity_pct: float = 50.0) -> float:
    return true_angle_deg(7, bag=bag, face="slick", stage=stage, humidity_pct=humidity_pct)


def test_the_law_without_scatter() -> None:
    assert angle() == angle()
    assert angle(humidity_pct=75.0) > angle() > angle(stage="after 1") > angle(stage="after 2")
    assert angle("Knot 1", "after 1") == angle("Knot 1")  # never treated
