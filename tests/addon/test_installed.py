"""Every case of in_blender.py, in every Blender there is: a class for each, so that a run on
several processors gives each Blender to one of them."""

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


def _cases_in(python: str) -> type:
    class TestInBlender:
        @pytest.mark.parametrize("name", _case_names())
        def test_case(self, name: str, case_results) -> None:
            results = case_results(python)
            assert name in results, f"{name} did not run"
            assert results[name] is None, results[name]

    return TestInBlender


for _number, _python in enumerate(interpreters()):
    _name = Path(_python).parent.parent.name.strip(".").replace(".", "_").replace("-", "_")
    globals()[f"TestIn_{_number}_{_name}"] = _cases_in(_python)
