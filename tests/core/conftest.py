"""What all tests of the core share."""

from __future__ import annotations

import pytest

from pourwright.plan import pipeline

# Where plans come with their mould; elsewhere nobody looks at it and it takes half of the time.
WITH_MOULD = {"test_plan_mould", "test_mould_helper"}


@pytest.fixture(scope="module", autouse=True)
def no_mould(request: pytest.FixtureRequest):
    """Plan no moulds but where they are looked at."""
    if request.module.__name__.rpartition(".")[2] in WITH_MOULD:
        yield
        return
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pipeline, "with_mould", lambda done, *_: (done, None, None))
        yield
