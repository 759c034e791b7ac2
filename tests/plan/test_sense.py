from plans import small_plan

from taskkit.plan.leaves import changed, leaf_paths, leaves
from taskkit.plan.sense import SENSIBLE, outliers


def test_a_sensible_plan_has_no_outlier():
    assert list(outliers(small_plan())) == []


def test_a_slip_of_the_unit_is_seen():
    plan = small_plan()
    for path, value in (
        ("fields.lines.spacing", "3 km"),
        ("machines.tools.working_width", "3000 m"),
        ("machines.tractor.width", "30 m"),
        ("machines.tools.fully_raised", "5 min"),
        ("machines.turning_speed", "8 m/s"),
        ("row_end_plans.leaving.speed", "90 km/h"),
        ("fields.headland.depth", "-12 m"),
        ("fields.declared_area", "0 ha"),
    ):
        leaf = next(x for x in leaves(plan) if x.path == path and x.value is not None)
        if path.endswith("turning_speed"):
            value = "80 km/h"
        (found,) = outliers(changed(plan, leaf, value))
        assert (found.leaf.path, found.leaf.value.text) == (path, value)
        assert found.least
        assert found.most


def test_every_limit_belongs_to_a_leaf_and_lies_the_right_way_round():
    for words, (least, most) in SENSIBLE.items():
        assert any(f".{path}".endswith(f".{words}") for path in leaf_paths()), words
        assert least <= most
        assert not most <= least
