"""Signing steps of work: in their order."""

from datetime import timedelta

import pytest

from planning.pours.steps import sign_step
from shared.errors import Invalid


def test_a_step_is_signed_between_those_before_and_after_it(take, now):
    first, second, third = take().steps.filter(phase="before").order_by("order")[:3]
    sign_step(step=first, at=now - timedelta(hours=3), now=now)
    with pytest.raises(Invalid, match=f"before {first.name} was signed"):
        sign_step(step=second, at=now - timedelta(days=9), now=now)
    with pytest.raises(Invalid, match="must not be in the future"):
        sign_step(step=second, at=now + timedelta(hours=1), now=now)
    sign_step(step=third, at=now - timedelta(hours=1), now=now)
    with pytest.raises(Invalid, match=f"after {third.name} was signed"):
        sign_step(step=second, at=now, now=now)
    sign_step(step=second, at=now - timedelta(hours=2), now=now)
    second.refresh_from_db()
    assert second.done_at == now - timedelta(hours=2)
