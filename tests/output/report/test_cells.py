"""How a number is printed: three significant digits, told apart from text."""

from __future__ import annotations

import pytest

from pipeline.output.report.cells import shown


@pytest.mark.parametrize(
    ("raw", "printed"),
    [  # expectations: definition of three significant digits, whole numbers in full
        ("19151.35", "19151"),
        ("-0.008136314", "−0.00814"),  # noqa: RUF001
        ("0.1996", "0.200"),
        ("12.345", "12.3"),
        ("0", "0"),
        ("-0.0", "0"),
        ("2.349027e-12", "2.35e−12"),  # noqa: RUF001
        ("123456789", "1.23e+08"),
        ("", ""),
        ("axial", "axial"),
        ("=1+1", "=1+1"),
    ],
)
def test_a_cell_is_printed_to_three_digits(raw: str, printed: str):
    assert shown(raw) == printed


@pytest.mark.parametrize("raw", ["nan", "inf", "-inf"])
def test_what_is_no_number_is_printed_as_it_stands(raw: str):
    assert shown(raw) == raw
