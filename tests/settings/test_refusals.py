"""What the readers of the settings refuse beside single values."""

import re
from pathlib import Path
from typing import Annotated, Any

import msgspec
import msgspec.inspect as inspect
import pytest
from msgspec import Meta

from rig.errors import BadInputError
from rig.settings.checks import check
from rig.settings.keys import Key
from rig.settings.load import load_settings
from rig.settings.model import Settings
from tests.settings.test_checks import changed


def test_values_that_are_good_alone_are_refused_together(tmp_path: Path) -> None:
    path = tmp_path / "attic.toml"
    path.write_text("[linkage]\nsoft_limit_deg = 50\n", encoding="utf-8")
    with pytest.raises(BadInputError, match=r"must be below `linkage\.travel_deg`, 46°") as caught:
        load_settings(path)
    assert str(path) in str(caught.value)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (Annotated[float, Meta(ge=0)], "both its limits"),
        (Annotated[int, Meta(le=5)], "both its limits"),
        (list[int], "no words"),
    ],
)
def test_a_key_without_a_range_is_refused(kind: Any, words: str) -> None:
    key = Key("motion", "new_mm", 0, "", "", inspect.type_info(kind))
    with pytest.raises(TypeError, match=words):
        _ = key.allowed


def test_a_soft_limit_below_home_is_refused() -> None:
    settings = changed(linkage={"home_angle_deg": 5.0, "soft_limit_deg": 5.0})
    with pytest.raises(BadInputError, match=r"must be below `linkage\.soft_limit_deg`, 5°"):
        check(settings, "attic.toml")


def test_the_blade_pin_that_is_missing_is_named() -> None:
    for given, missing in (("step", "direction"), ("direction", "step"), ("enable", "step")):
        settings = changed(pins={f"blade_{given}": 13})
        words = f"`pins.blade_{given}` is given but `pins.blade_{missing}` is not"
        with pytest.raises(BadInputError, match=re.escape(words)):
            check(settings, "attic.toml")


@pytest.mark.parametrize("section", ["", *Settings.__struct_fields__[1:]])
def test_settings_are_never_changed_in_place_and_hold_no_other_keys(section: str) -> None:
    settings = Settings()
    part = getattr(settings, section) if section else settings
    name = part.__struct_fields__[0]
    with pytest.raises(AttributeError, match="immutable"):
        setattr(part, name, getattr(part, name))
    data = {"zebra": 1}
    with pytest.raises(msgspec.ValidationError, match="unknown field `zebra`"):
        msgspec.convert({section: data} if section else data, Settings)
