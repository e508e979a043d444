"""Every notebook's code cells were run, so that nbval compares them all."""

import json
from pathlib import Path

import pytest

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_code_cell_has_its_count(path):
    cells = json.loads(path.read_text())["cells"]
    assert all(cell.get("execution_count") for cell in cells if cell["cell_type"] == "code")
