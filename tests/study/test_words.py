import pytest

from rig.commands.options import system_of
from rig.errors import BadInputError
from rig.study.words import chance, p_equals


def test_no_chance_is_zero() -> None:
    assert chance(0.0) == "< 0.001"
    assert chance(0.0123) == "0.012"
    assert p_equals(1e-9) == "p < 0.001"
    assert p_equals(0.04) == "p = 0.040"


def test_unknown_units() -> None:
    with pytest.raises(BadInputError, match="imperial"):
        system_of("imperial")
