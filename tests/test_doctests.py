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
