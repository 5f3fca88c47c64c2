"""Labels: never over one another, off what matters where there is room."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from crackmap.sheets.label_places import LabelField


@settings(max_examples=80, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0, 400), st.floats(0, 300), st.floats(8, 80), st.floats(6, 20)), max_size=25)
)
def test_no_two_labels_overlap_or_leave_the_page(labels: list[tuple[float, float, float, float]]) -> None:
    field = LabelField((400.0, 300.0), 3.0)
    boxes = []
    for x, y, width, height in labels:
        place = field.place((x, y), (width, height), 4.0)
        if place is not None:
            boxes.append(place.box)
    for i, (ax0, ay0, ax1, ay1) in enumerate(boxes):
        assert ax0 >= 0 and ay0 >= 0 and ax1 <= 400 and ay1 <= 300
        for bx0, by0, bx1, by1 in boxes[:i]:
            assert ax1 <= bx0 or bx1 <= ax0 or ay1 <= by0 or by1 <= ay0


def test_a_label_keeps_off_a_crack_when_it_can() -> None:
    field = LabelField((200.0, 200.0), 2.0)
    field.burden_line([[0, 100], [200, 100]], 3.0, 6.0)
    place = field.place((100.0, 100.0), (40.0, 12.0), 3.0)
    assert place is not None and (place.box[1] > 102.0 or place.box[3] < 98.0)


def test_a_label_far_from_its_anchor_has_a_leader() -> None:
    field = LabelField((300.0, 300.0), 2.0)
    field.burden_area([[120, 120], [180, 120], [180, 180], [120, 180]], 9.0)
    place = field.place((150.0, 150.0), (20.0, 10.0), 3.0)
    assert place is not None and place.leader is not None
    (x, y), _ = place.leader
    assert place.box[0] <= x <= place.box[2] and place.box[1] <= y <= place.box[3]


def test_a_dispensable_label_gives_up() -> None:
    field = LabelField((100.0, 100.0), 2.0)
    field.burden_area([[0, 0], [100, 0], [100, 100], [0, 100]], 2.0)
    assert field.place((50.0, 50.0), (20.0, 10.0), 3.0, most_burden=1.0) is None
