"""A server killed in the midst of edits: every edit that it acknowledged is on the disk."""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from pathlib import Path

import pytest

from crackmap import job
from tests.review.jobs import Served, a_job_folder, served, wait_for

EDITS = 200
LONGEST = 6.0  # after the first edits; the kill comes by then, however slow the machine [s]


@pytest.mark.parametrize("seed", [1, 2])
def test_every_acknowledged_edit_outlives_a_kill(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    folder = a_job_folder(tmp_path / "job", cracks=1)
    said: list[dict[str, object]] = []
    with served(folder) as running:
        editor = threading.Thread(target=_edit, args=(running, rng, said))
        editor.start()
        assert wait_for(lambda: len(said) > 4, 60.0)
        wanted = rng.randint(20, EDITS - 20)
        wait_for(lambda: len(said) >= wanted, rng.uniform(0.3, 1.0) * LONGEST)
        time.sleep(rng.uniform(0.0, 0.05))
        running.running.kill()
        editor.join(10)
    assert 3 < len(said) < EDITS
    last = said[-1]
    kept = job.read_edits(folder)  # valid, or this raises
    probes = [list(p) for p in kept.probed_depths]
    assert [p for p in last["probed"] if p not in probes] == []  # type: ignore[attr-defined]
    assert len(probes) <= len(last["probed"]) + 1  # type: ignore[arg-type]  # the one under way may be there
    notes = [area.note for area in kept.keep_out]
    assert notes[:len(last["notes"])] == last["notes"]  # type: ignore[arg-type]
    assert len(kept.refused_keys) >= last["refused"]  # type: ignore[operator]
    with served(folder) as again:
        state = again.job()
        assert state["edits"]["probed"] == probes
        assert [a["note"] for a in state["edits"]["keep_out"]] == notes


def _edit(running: Served, rng: random.Random, said: list[dict[str, object]]) -> None:
    """Random edits, one after another; what was acknowledged goes into `said`."""
    try:
        state = running.job()
        for number in range(EDITS):
            status, answer = running.post("/change", state["version"], _random_action(rng, number, state))
            if status == 200:
                state = answer
                edits = state["edits"]
                said.append({"probed": edits["probed"], "notes": [a["note"] for a in edits["keep_out"]],
                             "refused": edits["refused_keys"]})
    except (OSError, http.client.HTTPException, json.JSONDecodeError):
        return  # killed


def _random_action(rng: random.Random, number: int, state: dict[str, object]) -> dict[str, object]:
    x, y = rng.uniform(0.0, 500.0), rng.uniform(-150.0, 150.0)
    keys = state["plan"]["keys"]  # type: ignore[index]
    kind = rng.random()
    if kind < 0.2 and keys:
        key = rng.choice(keys)
        return {"do": "move_key", "key": key["id"], "centre": [key["centre"][0] + rng.uniform(-4, 4), key["centre"][1]]}
    if kind < 0.3:
        return {"do": "add_keep_out", "area": [[x, y], [x + 30, y], [x, y + 30]], "from": "above", "note": f"n{number}"}
    return {"do": "probe_depth", "at": [round(6.0 * number, 3), round(y, 3)], "depth": 1.0 + number}
