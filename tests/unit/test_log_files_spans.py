"""Pieces of a text kept as positions behave as the strings they stand for."""

from __future__ import annotations

import random
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from backtospec.sources.log_files.row_split import SEPARATORS, split_rows
from backtospec.sources.log_files.shapes import group_by_shape
from backtospec.sources.log_files.spans import Spans, is_space, join

CELLS = ["9.6", "", " 10.5 mV", "OL", "10.5", "-0,987", "1,234", "°C", "Ω", "左", "𝄞", "9.7"]
TEXTS = st.lists(st.text(alphabet="09., \tV°Ω左𝄞\x1c\xa0\u2028", max_size=6), max_size=40)


def test_spans_are_a_sequence_of_strings() -> None:
    spans = Spans.of(CELLS)
    assert list(spans) == CELLS
    assert [spans[row] for row in range(-3, 3)] == [CELLS[row] for row in range(-3, 3)]
    assert list(spans[2:9:3]) == CELLS[2:9:3]
    assert Spans.of(spans) is spans
    with pytest.raises(IndexError):
        spans[len(CELLS)]


def test_every_white_space_is_known() -> None:
    spaces = "".join(chr(code) for code in range(0x11000) if chr(code).isspace())
    assert is_space(Spans.of([spaces]).codes).all()
    others = "".join(
        chr(code)
        for code in range(0x11000)
        if not chr(code).isspace() and not 0xD7FF < code < 0xE000
    )
    assert not is_space(Spans.of([others]).codes).any()


@given(TEXTS)
@settings(max_examples=200, deadline=None)
def test_what_is_done_to_spans_is_done_to_strings(cells: list[str]) -> None:
    spans = Spans.of(cells)
    assert list(spans) == cells
    assert list(spans.stripped()) == [cell.strip() for cell in cells]
    assert list(join([spans, spans])) == [f"{cell} {cell}".strip() for cell in cells]
    texts, numbers = spans.distinct()
    assert texts == list(dict.fromkeys(cells))
    assert [texts[number] for number in numbers.tolist()] == cells
    assert list(Spans.lines_of("\n".join(cells))) == "\n".join(cells).split("\n")


@given(TEXTS)
@settings(max_examples=200, deadline=None)
def test_a_group_is_of_one_shape(cells: list[str]) -> None:
    groups = group_by_shape(cells)
    assert sorted(row for group in groups for row in group.rows.tolist()) == list(range(len(cells)))
    shapes = [re.sub("[0-9]", "0", cell) for cell in cells]
    for group in groups:
        assert group.sample == cells[int(group.rows[0])]
        assert len({shapes[row] for row in group.rows.tolist()}) == 1
    assert len(groups) <= 2 * len(set(shapes))


def test_many_shapes_of_one_length_are_kept_apart() -> None:
    rng = random.Random(3)
    cells = ["".join(rng.choices("abcdef", k=3)) for _ in range(2000)]
    groups = group_by_shape(cells)
    assert [group.sample for group in groups] == list(dict.fromkeys(cells))


ROWS = [
    *("1,2", "1 2", " 1 ,2 ", '"1",2', "1;2", "1\t2", "1  2", " 1\t 2", "", "  ", "\t", "1,2,"),
    *("# 1,2", "1\x0b,2", "1\xa0,2", "1|2", '"1,2', "1 \t2", "° ,2", "左\u30002", "1, 2 \t", "1"),
    *('"1","2"', '"1" ;"2"', '"",2', '"1;",2', '"",""', '" 1 "\t" 2"', '"1""2",3', '","', '1,"2" '),
]


@pytest.mark.parametrize("separator", SEPARATORS)
def test_lines_are_cut_all_at_once_as_one_by_one(separator: str) -> None:
    split = SEPARATORS[separator]
    width = 2 if separator else 1
    rng = random.Random(5)
    for _ in range(300):
        lines = rng.choices(ROWS, k=rng.randint(1, 12))
        wanted = [
            (number, split(line))
            for number, line in enumerate(lines, 1)
            if line.strip() and len(split(line)) == width
        ]
        spans = Spans.lines_of("\n".join(lines))
        columns, numbers = split_rows(spans, 1, separator, width, lambda *_: None)
        assert list(numbers) == [number for number, _ in wanted]
        assert [list(cells) for cells in zip(*columns, strict=True)] == [c for _, c in wanted]


def test_a_cell_that_fits_another_way_keeps_its_place() -> None:
    spans = Spans.lines_of("1,2\n3\n5,6")

    def fit(number: int, line: str, cells: list[str]) -> list[str]:
        return [line, f"{number} {len(cells)}"]

    columns, numbers = split_rows(spans, 1, ",", 2, fit)
    assert [list(column) for column in columns] == [["1", "3", "5"], ["2", "2 1", "6"]]
    assert list(numbers) == [1, 2, 3]
