"""What the author of a plugin runs; the project runs the same from its own tests."""

import propmatch_club_bench
import pytest

from propmatch.testing import conformity_checks


@pytest.mark.parametrize("check", conformity_checks(propmatch_club_bench), ids=str)
def test_conformity(check):
    check()
