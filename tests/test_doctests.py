"""The examples in the kit's docstrings run, and print what they say."""

import doctest
import importlib
from pathlib import Path

import linetilt
import numpy as np
import pandas as pd
import pytest

KIT = Path(linetilt.__file__).parent
SOURCES = [file.relative_to(KIT.parent) for file in sorted(KIT.rglob("*.py")) if ">>> " in file.read_text("utf-8")]
GIVEN = {"lt": linetilt, "np": np, "pd": pd}  # what an example may use without importing it
OPTIONS = doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS


@pytest.mark.parametrize("name", [".".join(file.with_suffix("").parts).removesuffix(".__init__") for file in SOURCES])
def test_examples_of(name, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)  # what an example writes is gone afterwards
    module = importlib.import_module(name)
    tests = doctest.DocTestFinder().find(module, name, module, extraglobs=GIVEN)
    assert any(test.examples for test in tests)
    said = []
    for test in tests:
        doctest.DocTestRunner(optionflags=OPTIONS).run(test, out=said.append)
    assert not said, "".join(said)


# Public names of the top that have no example yet; the list may only shrink.
WITHOUT = """
    Bag BagFit BookError Club FaceMark InputError LieReading LinetiltError PhotoError SessionBook bench_sheet demo_book
    enter_readings export_book fit_bag golfer_report keep_rules lie_reading measure_photo measure_photos open_book
    plan_bends read_bag rescue_book session_fit session_plan
"""


def test_public_names_have_an_example():
    assert {name for name in linetilt.__all__ if ">>> " not in getattr(linetilt, name).__doc__} <= set(WITHOUT.split())
