"""Every case of in_blender.py, in every Blender there is."""

import ast
from pathlib import Path

import pytest
from blenders import HERE, interpreters


def _case_names() -> list[str]:
    names = []
    for path in sorted(HERE.glob("cases_*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names += [
            node.name
            for node in tree.body
            if isinstance(node, ast.FunctionDef) and node.name.startswith("case_")
        ]
    return [*names, "no_job_folder_is_left"]


@pytest.mark.parametrize("name", _case_names())
@pytest.mark.parametrize("python", interpreters(), ids=lambda p: Path(p).parent.parent.name)
def test_in_blender(python: str, name: str, case_results) -> None:
    results = case_results(python)
    assert name in results, f"{name} did not run"
    assert results[name] is None, results[name]
