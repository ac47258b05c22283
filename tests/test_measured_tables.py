"""A measured table says where it comes from, and that it is older than the code once it is."""

from pathlib import Path

import pytest

from tests.bench import heading
from tests.bench.heading import Head, Table, bare_tables, digest_of, files, heads

HEAD = Head(
    "2026-01-02 at `abc1234`", "a bench", "`python -m it`", "1, 2", {"a.py": "00", "b.py": "11"}
)


@pytest.mark.parametrize("file", files(), ids=lambda file: str(file.relative_to(heading.ROOT)))
def test_heads_are_whole_and_say_when_the_code_has_changed(file: Path) -> None:
    text = file.read_text("utf-8")
    found = heads(text)
    assert len(found) == text.count("<!-- table: ") == text.count(heading.END)
    unmarked = [name for name, head in found.items() if head.marked().older and not head.older]
    assert not unmarked, "older than the code: python -m tests.bench.heading --mark"
    if file.parent.name in ("bench", "faults"):
        assert not bare_tables(text), "a table without a head: write it by `Table.show`"


@pytest.mark.parametrize("older", ["", "`a.py` changed since"])
def test_a_head_is_read_as_it_was_written(older: str) -> None:
    head = Head(**{**vars(HEAD), "older": older})
    assert Head.parse(str(head)) == head


@pytest.mark.parametrize("n", range(3))
def test_a_head_without_one_of_its_lines_is_refused(n: int) -> None:
    lines = str(HEAD).splitlines(keepends=True)
    del lines[n]
    with pytest.raises(ValueError, match="not a head"):
        Head.parse("".join(lines))


@pytest.mark.parametrize(
    ("other", "is_same"),
    [
        (
            '"""Words."""\nfrom c import a\n\ndef f(x):\n    """More."""\n    return x * 2  # 2',
            True,
        ),
        ("import a\ndef f(x): return x * 3", False),
        ("import a\ndef f(y): return y * 2", False),
        ("import a\ndef f(x): return x / 2", False),
        ("import a\ndef f(x=None): return x * 2", False),
    ],
)
def test_only_the_code_of_an_input_counts(other: str, is_same: bool) -> None:
    digest = digest_of(b"import a\ndef f(x): return x * 2", ".py")
    assert (digest_of(other.encode(), ".py") == digest) is is_same
    assert digest_of(b"# a", ".sh") != digest_of(b"# b", ".sh")


def test_which_defaults_a_function_has_counts() -> None:
    one, other = b"def f(*, a, b=1): 0", b"def f(*, a=1, b): 0"
    assert digest_of(one, ".py") != digest_of(other, ".py")


def test_changed_inputs_are_named_and_lost_ones_are_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heading, "digest", {"a.py": "00", "b.py": "12"}.get)
    assert HEAD.marked().older == "`b.py` changed since"
    monkeypatch.setattr(heading, "digest", lambda _: heading.GONE)
    assert HEAD.marked().older == "`a.py`, `b.py` changed since"
    monkeypatch.setattr(heading, "digest", HEAD.inputs.get)
    assert HEAD.marked() == HEAD


def test_a_table_replaces_its_own_block_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(heading, "ROOT", tmp_path)
    monkeypatch.setattr(heading, "commit", lambda: "`abc1234`")
    (tmp_path / "input.toml").write_text("a = 1")
    file = tmp_path / "T.md"
    file.write_text("# Tables\n\nBefore.\n")
    one, two = (Table("T.md", name, ("input.toml",)) for name in ("one", "two"))
    row = ["| a |", "| --- |"]
    one.show([*row, "| 1 |"], seed=7, write=True)
    two.show([*row, "| 2 |"], seed=8, write=True)
    file.write_text(file.read_text() + "\nAfter.\n")
    one.show([*row, "| 3 |"], seed=9, write=True)
    two.show([*row, "| 4 |"], seed=10, write=False)
    text = file.read_text()
    assert [head.seed for head in heads(text).values()] == ["9", "8"]
    assert [line for line in text.splitlines() if line[:3] in ("| 1", "| 2", "| 3", "| 4")] == [
        "| 3 |",
        "| 2 |",
    ]
    assert text.startswith("# Tables\n\nBefore.\n\n<!-- table: one -->\n")
    assert text.endswith("<!-- end of table -->\n\nAfter.\n")
    assert not bare_tables(text)
    assert bare_tables(text + "\n| a | b |\n|---|---:|\n| 1 | 2 |\n") == ["| a | b |"]
    assert "| 4 |" in capsys.readouterr().out
    with pytest.raises(FileNotFoundError, match=r"other\.toml"):
        Table("T.md", "three", ("other.toml",))


def test_the_command_marks_and_clears_heads(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(heading, "ROOT", tmp_path)
    file = tmp_path / "tests" / "T.md"
    file.parent.mkdir()
    file.write_text(f"<!-- table: t -->\n{HEAD}\n| a |\n\n{heading.END}\n")
    whole = file.read_text()

    def command(changed: str, *words: str) -> int:
        monkeypatch.setattr(heading, "digest", (HEAD.inputs | {"b.py": changed}).get)
        monkeypatch.setattr("sys.argv", ["heading", *words])
        return heading.main()

    assert command("12") == 1
    assert file.read_text() == whole
    assert command("12", "--mark") == 0
    assert heads(file.read_text())["t"].older == "`b.py` changed since"
    assert command("13") == 0
    assert command("11", "--mark") == 0
    assert file.read_text() == whole


def test_a_table_needs_no_git(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    assert heading.commit() == "a commit that is unknown without git"
