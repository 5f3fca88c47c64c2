"""Set-ups, boards and machine time in plan.json."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from crackmap import jsonform
from crackmap.errors import JobError
from crackmap.fields import Fields
from crackmap.jsoncutting import cutting_as_json, cutting_from_json
from crackmap.records import Plan
from crackmap.shop import Bed, Shop, StockBoard
from tests.builders import a_cut_plan, a_survey

SHOP = Shop(bed=Bed(500.0, 600.0, ("left", "right")), stock=(StockBoard(400, 120, 25, "oak", True, ((0, 0, 20, 30),)),))


@pytest.fixture(scope="module")
def plan() -> Plan:
    plan = a_cut_plan(a_survey(), 9, SHOP)
    assert plan.setups and plan.stock and plan.stock.left_over and plan.time
    return plan


def _form(plan: Plan) -> dict[str, Any]:
    form: dict[str, Any] = json.loads(jsonform.dumps(cutting_as_json(plan)))
    return form


def test_it_reads_back(plan: Plan) -> None:
    back = cutting_from_json(Fields(_form(plan), "plan.json:"), plan.keys)
    for one, other in zip(plan.setups, back["setups"], strict=True):
        assert (one.number, one.keys) == (other.number, other.keys)
        assert one.overhang == pytest.approx(other.overhang, abs=1e-3)
        assert np.allclose(one.matrix, other.matrix, atol=1e-6)
        assert [m.name for m in one.marks] == [m.name for m in other.marks]
    assert back["no_setup"] == plan.no_setup and back["stock"].left_over == plan.stock.left_over
    assert [k.name for b in plan.stock.boards for k in b.keys] == [k.name for b in back["stock"].boards for k in b.keys]
    assert back["time"].likely == pytest.approx(plan.time.likely, abs=0.02)


def test_an_older_plan_without_these_fields_reads(plan: Plan) -> None:
    back = cutting_from_json(Fields({}, "plan.json:"), plan.keys)
    assert back == {"setups": (), "no_setup": (), "stock": None, "time": None}


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        (("setups", 0, "slab_to_machine"), [[2, 0, 0], [0, 2, 0], [0, 0, 1]], "turns and shifts only"),
        (("setups", 0, "marks", 0, "how"), "guessed", r"marks\[0\].how must be one of"),
        (("stock", "boards", 0, "keys", 0, "like"), "K99", "like must name a key"),
        (("stock", "boards", 0, "hold"), "glue", "hold must be one of"),
        (("time", "feed"), [1, 2], "feed must be a list of 3"),
    ],
)
def test_a_wrong_field_is_named(plan: Plan, path: tuple[Any, ...], value: Any, said: str) -> None:
    form = _form(plan)
    inner: Any = form
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    with pytest.raises(JobError, match=said):
        cutting_from_json(Fields(form, "plan.json:"), plan.keys)
