"""How the suite is shared out when it runs on several processors."""

import pytest


@pytest.hookimpl(tryfirst=True)  # before the plug-in reads the marks
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A file's tests share fixtures, so they stay together; the cases of one Blender likewise."""
    for item in items:
        blender = getattr(item, "callspec", None) and item.callspec.params.get("python")
        item.add_marker(pytest.mark.xdist_group(blender or item.path.name))
