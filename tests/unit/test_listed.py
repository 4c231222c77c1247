"""Rows of a shortlist as they are listed."""

from types import SimpleNamespace

from propmatch.search.listed import match_rows


def test_rows_are_numbered_through_and_ranked_in_their_cell_count_and_controllers_share_one():
    def train(motor, controller):
        return SimpleNamespace(motor_id=motor, propeller_id="p", pack_id="k", controller_id=controller)

    three = [train("a", "small"), train("b", "small"), train("a", "large"), train("c", "small")]
    rows = match_rows(SimpleNamespace(by_cells={3: three, 4: [train("d", "small")]}), 2)
    assert [(row.number, row.rank, row.candidate.motor_id, row.others) for row in rows] == [
        (1, 1, "a", ("large",)),
        (2, 2, "b", ()),
        (3, 1, "d", ()),
    ]
