"""The benchmark of verdict and diagnosis, printed; a ratio is a figure to read, no assertion."""

import pytest

from tests.campaigns.judge_benchmark import report
from tests.campaigns.score import show

pytestmark = pytest.mark.campaign


def test_verdict_and_diagnosis_against_networkx_in_the_same_run():
    text = report(repeats=10)
    show(text)
    assert text.count("\n") > 20
