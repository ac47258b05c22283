from pathlib import Path

from rig.files.checked import sealed
from rig.files.log import append_lines, lines_of


def test_lines_are_appended_with_their_check(tmp_path: Path) -> None:
    path = tmp_path / "new" / "a.jsonl"
    append_lines(path, [b'{"a":1}', b'{"b":2}'])
    append_lines(path, [b'{"c":3}'])
    found = lines_of(path.read_bytes())
    assert [line.number for line in found] == [1, 2, 3]
    assert [line.verdict for line in found] == ["sound"] * 3
    assert found[2].data == sealed(b'{"c":3}')


def test_a_torn_line_is_ended_and_seen(tmp_path: Path) -> None:
    path = tmp_path / "a.jsonl"
    append_lines(path, [b'{"a":1}', b'{"b":2}'])
    path.write_bytes(path.read_bytes()[:-9])
    (_, torn) = lines_of(path.read_bytes())
    assert torn.is_torn
    append_lines(path, [b'{"c":3}'])
    found = lines_of(path.read_bytes())
    assert [line.verdict for line in found] == ["sound", "changed", "sound"]
    assert not any(line.is_torn for line in found)


def test_zeros_of_a_power_cut_are_no_line() -> None:
    data = b'{"a":1}\n' + b"\0" * 40 + b"\n"
    assert [line.number for line in lines_of(data)] == [1]
    assert lines_of(b"\0" * 10) == []
