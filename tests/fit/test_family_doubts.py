"""When the family of an outline is too close to call."""

from types import SimpleNamespace

import pytest

from snugline.fit import family_fit
from snugline.fit.family_fit import _doubts


@pytest.mark.parametrize(
    ("odds", "apart", "told"),
    [
        ((0.60, 0.40), 0.20, True),
        ((0.75, 0.25), 0.20, True),  # a third of the other
        ((0.76, 0.24), 0.20, False),
        ((0.99, 0.01), 0.20, False),
        ((0.60, 0.40), 0.05, True),
        ((0.60, 0.40), 0.049, False),  # they would be cut alike
    ],
)
def test_a_family_is_in_doubt_where_another_is_a_third_as_likely_and_cut_otherwise(
    monkeypatch, odds, apart, told
):
    monkeypatch.setattr(family_fit, "apart", lambda best, other: apart)
    ranking = tuple(zip(("rounded rectangle", "ellipse rectangle"), odds, strict=True))
    choice = SimpleNamespace(ranking=ranking, best=None, runner_up=object())
    found = _doubts(choice)
    assert bool(found) == told
    for notice in found:
        assert f"rounded rectangle (probability {odds[0] * 100:.0f} %)" in str(notice.text)
        assert f"differ by at most {apart:.2f} mm" in str(notice.text)
    assert _doubts(SimpleNamespace(ranking=ranking, best=None, runner_up=None)) == []
