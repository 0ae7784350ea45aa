"""What is said of several files alike is told once, with all of them, the most urgent first."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from formulary.finding import Finding, Place, Severity, group_alike

FINDINGS = st.lists(
    st.builds(
        Finding,
        st.sampled_from(Severity),
        st.sampled_from(["scent-limit-unknown", "assay-unknown"]),
        st.sampled_from(["no limit is known", "the assay is not known"]),
        st.just("do it"),
        st.builds(Place, st.sampled_from([None, "recipes/a.yaml", "recipes/b.yaml", "trials/c"]), st.integers(1, 9)),
    ),
    max_size=20,
)


@given(FINDINGS)
def test_every_place_is_told_once_and_the_most_urgent_first(findings: list[Finding]) -> None:
    groups = group_alike(findings)
    told = [(each.severity, each.code, each.what, place) for each, more in groups for place in (each.place, *more)]
    given_ = [(each.severity, each.code, each.what, each.place) for each in findings]
    assert sorted(told, key=repr) == sorted(given_, key=repr)
    ranks = [each.severity.rank for each, _ in groups]
    assert ranks == sorted(ranks)


@given(FINDINGS)
def test_errors_and_stops_stand_by_themselves_and_the_rest_once_for_a_folder(findings: list[Finding]) -> None:
    groups = group_alike(findings)
    urgent = (Severity.ERROR, Severity.STOP)
    assert all(not more for each, more in groups if each.severity in urgent)
    said = [
        (each.severity, each.code, each.what, (each.place.path or "").partition("/")[0])
        for each, _ in groups
        if each.severity not in urgent
    ]
    assert len(said) == len(set(said))


def test_an_amount_that_is_enough_for_one_recipe_is_not_told_for_another() -> None:
    band = [
        Finding(
            Severity.NOTE, "superfat-band", "the superfat may be as low as -0.3 %", do, Place(f"recipes/{name}.yaml")
        )
        for name, do in (
            ("a", "ask for that of a, or raise it to 1.4 % or more"),
            ("b", "ask for that of b, or raise it to 2.1 % or more"),
            ("c", "ask for that of c, or raise it to 1.4 % or more"),
        )
    ]
    assert [(each.do, [place.path for place in more]) for each, more in group_alike(band)] == [
        (band[0].do, ["recipes/c.yaml"]),
        (band[1].do, []),
    ]
