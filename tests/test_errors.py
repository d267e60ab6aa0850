from __future__ import annotations

import inspect

import pytest

from parcelfence import errors
from parcelfence.errors import Fault, InputError, MissingExtraError, ParcelFenceError, near_matches


def test_every_error_has_two_parents() -> None:
    raised = [
        kind
        for _, kind in inspect.getmembers(errors, inspect.isclass)
        if issubclass(kind, ParcelFenceError) and kind is not ParcelFenceError
    ]
    assert len(raised) >= 8
    for kind in raised:
        builtins = [parent for parent in kind.__mro__ if parent.__module__ == "builtins"]
        assert builtins[0] not in {Exception, BaseException, object}, kind


def test_a_message_names_place_feature_finding_rule_and_remedy() -> None:
    fault = Fault(where="lots.shp", feature="12", found="no geometry", must="a lot is a polygon", remedy="mend it")
    assert str(fault) == "lots.shp, feature 12: no geometry. A lot is a polygon. Mend it."


def test_all_faults_are_listed_and_long_lists_are_cut() -> None:
    error = InputError([Fault(where="f", feature=str(number), found="null") for number in range(30)])
    assert len(error.faults) == 30
    assert "1. f, feature 0: null." in str(error)
    assert "10 more" in str(error)


def test_near_matches() -> None:
    assert near_matches("reech", ["reach", "slack"]) == "did you mean 'reach'?"
    assert near_matches("PID", ["pid"]) == "did you mean 'pid'?"
    assert near_matches("qqq", ["a", "b"]) == "known are: a, b"
    assert near_matches("qqq", []) == "there are none"


def test_a_missing_extra_says_how_to_install_it() -> None:
    error = MissingExtraError.of("dem", package="rasterio", purpose="Reading terrain")
    assert "pip install 'parcelfence[dem]'" in str(error)
    with pytest.raises(ImportError):
        raise error
