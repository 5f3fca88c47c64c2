"""One review of one job folder: the state, what may be done to it, and its files.

Every change is: new edits, the survey they call for, the plan taken up from the
last one, the files written whole; only then the answer. States are immutable and
kept, so that undo is going back to one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from crackmap import job, jsonform, pipeline
from crackmap.errors import CrackmapError, JobError, ReviewError
from crackmap.job import Job
from crackmap.pipeline import StageSettings
from crackmap.records import Crack, Edits, FloatArray, Key, OfferedPlan, Plan, RectifiedPhoto, Survey
from crackmap.review.actions import apply_action
from crackmap.review.ask import Ask, Asked, Change
from crackmap.review.folder_watch import FolderWatch
from crackmap.review.state import Frame, edits_state, frame_state, plan_state, survey_state
from crackmap.settings import nearest_hint
from crackmap.shop import Shop

_PATIENCE = 2.0  # that a change waits for another command to end [s]
_MOST_TRACED = 256  # drawn cracks kept as traced

Draw = Callable[[RectifiedPhoto, Survey, Plan], tuple[Plan, dict[str, bytes]]]


class Outdated(CrackmapError):
    """The state that a change was asked of is no longer the newest; nothing was changed."""


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """The job as it stands after one change."""

    edits: Edits
    survey: Survey
    plan: Plan
    lines: tuple[frozenset[str], ...]  # ids of the cracks that a maker sees as one
    words: str  # the change that led here


class Session:
    """The one writer of a job folder while its review lasts; safe to call from several threads.

    Parameters
    ----------
    read : Job
        With a plan.
    frame : Frame
        What does not change.
    settings : StageSettings
    picture : callable
        Gives the rectified photo; may wait for it.
    draw : callable
        From the photo, survey and plan to the job's drawings by name, and the
        plan as it was made ready for cutting.
    """

    def __init__(self, read: Job, frame: Frame, settings: StageSettings, picture: Callable[[], RectifiedPhoto],
                 draw: Draw) -> None:
        assert read.plan is not None
        self._folder, self._frame, self._settings = read.folder, frame, settings
        self._shop: Shop = frame.shop
        self._picture, self._draw = picture, draw
        self._lock = threading.Lock()
        self._watch = FolderWatch(read.folder)
        self._version = 1
        self._past: tuple[Standing, ...] = ()
        self._future: tuple[Standing, ...] = ()
        self._traced: dict[bytes, Crack] = {}
        self._offers: tuple[Standing, tuple[OfferedPlan, ...]] | None = None
        self._exported: Standing | None = None
        self._now = Standing(read.edits, read.survey, read.plan, self._lines(read.survey), "")
        if read.plan.edits_digest == jsonform.digest_of(read.edits):
            self._exported = self._now
        else:  # written by hand, or the last review ended between two files
            self._now = self._made(self._now, Change(read.edits, ""))
            self._write(self._now, read.survey)

    # --- reading -----------------------------------------------------------------------------------------

    @property
    def drawings_are_old(self) -> bool:
        """True where the folder's drawings are of an earlier plan."""
        return self._exported is not self._now

    @property
    def standing(self) -> Standing:
        """The newest state."""
        return self._now

    def finish(self) -> None:
        """Wait for a change under way, then take no more."""
        self._lock.acquire()

    def state(self) -> dict[str, Any]:
        """The whole state, as the page reads it."""
        with self._lock:
            return self._state()

    def _state(self) -> dict[str, Any]:
        now = self._now
        return {
            "version": self._version, **frame_state(self._frame), **survey_state(now.survey, now.edits, now.lines),
            **plan_state(now.plan), **edits_state(now.edits),
            "can_undo": bool(self._past), "can_redo": bool(self._future),
            "undo_words": now.words if self._past else None,
            "redo_words": self._future[0].words if self._future else None,
            "exported": not self.drawings_are_old,
        }

    # --- changing ----------------------------------------------------------------------------------------

    def change(self, version: int, action: Any) -> dict[str, Any]:
        """Do one action; the new state.

        Raises
        ------
        Outdated
            If another window, or another program, was faster.
        CrackmapError
            If it is not possible; nothing was changed.
        """
        with self._writing():
            self._demand_newest(version)
            self._step(self._done(action))
            return self._state()

    def attempt(self, version: int, action: Any) -> Key:
        """The key that an action on a key would give, with its checks; nothing is changed or saved."""
        now = self._now
        if version != self._version:
            raise Outdated("The slab was changed meanwhile.")
        change = apply_action(self._ask(now, action))
        if change.touched is None:
            raise ReviewError("Only an action on a key can be tried.")
        plan = self._made(now, change).plan
        away = [float(np.hypot(*(k.centre - change.touched.centre))) for k in plan.keys]
        return plan.keys[int(np.argmin(away))]

    def solve(self, version: int) -> dict[str, Any]:
        """Place all keys anew around those of the user."""
        with self._writing():
            self._demand_newest(version)
            self._step(self._solved(self._now.plan.choice, "solved anew"))
            return self._state()

    def undo(self, version: int) -> dict[str, Any]:
        """Go back one change."""
        with self._writing():
            self._demand_newest(version)
            if not self._past:
                raise ReviewError("There is nothing to undo.")
            self._write(self._past[-1], self._now.survey)
            self._future = (self._now, *self._future)
            self._now, self._past = self._past[-1], self._past[:-1]
            self._version += 1
            return self._state()

    def redo(self, version: int) -> dict[str, Any]:
        """Take back an undo."""
        with self._writing():
            self._demand_newest(version)
            if not self._future:
                raise ReviewError("There is nothing to redo.")
            self._write(self._future[0], self._now.survey)
            self._past = (*self._past, self._now)
            self._now, self._future = self._future[0], self._future[1:]
            self._version += 1
            return self._state()

    def export(self, version: int) -> dict[str, Any]:
        """Draw the job's files from the plan and write them; where they are."""
        with self._writing():
            self._demand_newest(version)
            now = self._now
            plan, files = self._draw(self._picture(), now.survey, now.plan)
            self._demand_unchanged_files()
            files |= self._files(replace(now, plan=plan), None)
            removed = job.write_drawn(self._folder, files)
            self._watch.note()
            self._exported = now
            return {"folder": str(self._folder.absolute()), "files": sorted(files), "removed": removed,
                    "version": self._version}

    def plans(self) -> list[dict[str, Any]]:
        """The plans to choose from."""
        with self._lock:
            now = self._now
            offers = self._offered(now)
        return [{"name": o.name, "title": o.name.capitalize(), "description": o.description,
                 "keys": len(o.placement.keys), "objective": round(o.objective, 3),
                 "longest_unheld_mm": round(o.longest_unheld, 1), "holding": o.holding or None,
                 "outlines": [np.round(points, 2).tolist() for points in map(_outline, o.placement.keys)],
                 "chosen": o.name == now.plan.choice}
                for o in offers]

    def finished(self, as_photographed: bool) -> bytes:
        """The finished look, or the photo as it is, as JPEG."""
        now = self._now
        return pipeline.finished_look(self._picture(), now.survey, now.plan, self._shop, self._settings.sheets,
                                      as_photographed=as_photographed)

    # --- inside ------------------------------------------------------------------------------------------

    def _done(self, action: Any) -> Standing:
        change = apply_action(self._ask(self._now, action))
        if not change.plan_name:
            return self._made(self._now, change)
        names = [offer.name for offer in self._offered(self._now)]
        if change.plan_name not in names:
            raise ReviewError(f"There is no offered plan {change.plan_name!r:.30}"
                              f"{nearest_hint(change.plan_name, names)}")
        return self._solved(change.plan_name, change.words)

    def _solved(self, choice: str, words: str) -> Standing:
        """All keys placed anew around those of the user, by an offered plan's weights."""
        now = self._now
        plan = pipeline.make_plan(now.survey, self._shop, self._settings, now.edits, choice=choice)
        return replace(now, plan=plan, words=words)

    def _ask(self, now: Standing, action: Any) -> Ask:
        return Ask(Asked(action), now.edits, now.survey, now.plan, now.lines, self._settings.survey,
                   self._settings.placement.refusal_radius)

    def _made(self, last: Standing, change: Change) -> Standing:
        """What a change comes to: the survey it calls for, and the plan taken up from the last one."""
        edits, survey = change.edits, last.survey
        if change.words:  # made by somebody who sees this photo
            edits = replace(edits, photo_sha256=survey.photo.sha256)
        if _on_survey(edits) != _on_survey(last.edits) or not change.words:
            survey = pipeline.apply_edits(survey, self._settings, edits, self._tracer(survey))
        kept = replace(last.plan, keys=tuple(k for k in last.plan.keys if k.id not in change.released))
        plan = pipeline.make_plan(survey, self._shop, self._settings, edits, kept)
        lines = last.lines if survey is last.survey else self._lines(survey)
        return Standing(edits, survey, plan, lines, change.words)

    def _lines(self, survey: Survey) -> tuple[frozenset[str], ...]:
        return pipeline.lines_of_cracks(survey, self._settings)

    def _tracer(self, survey: Survey) -> Callable[[FloatArray], Crack]:
        """Traces a crack; one that was traced before is not traced again."""
        def trace(points: FloatArray) -> Crack:
            name = points.tobytes()
            if name not in self._traced:
                if len(self._traced) >= _MOST_TRACED:
                    self._traced.clear()
                self._traced[name] = pipeline.trace_crack(self._picture(), survey, points)
            return self._traced[name]

        return trace

    def _offered(self, now: Standing) -> tuple[OfferedPlan, ...]:
        if self._offers is None or self._offers[0] is not now:
            self._offers = now, pipeline.offer_plans(now.survey, self._shop, self._settings, now.edits)
        return self._offers[1]

    def _step(self, standing: Standing) -> None:
        self._write(standing, self._now.survey)
        self._past = (*self._past, self._now)
        self._now, self._future = standing, ()
        self._version += 1

    def _files(self, standing: Standing, last_survey: Survey | None) -> dict[str, bytes]:
        """What of the job a change may touch, to be written together: the plan names the edits that it obeys."""
        files = {job.EDITS: jsonform.dumps(jsonform.edits_as_json(standing.edits))}
        if standing.survey is not last_survey:
            files[job.SURVEY] = jsonform.dumps(jsonform.survey_as_json(standing.survey))
        return files | {job.PLAN: jsonform.dumps(jsonform.plan_as_json(standing.plan))}

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One change at a time, of this review and of all other crackmaps."""
        with self._lock, job.held(self._folder, "review", _PATIENCE):
            yield

    def _write(self, standing: Standing, last_survey: Survey) -> None:
        job.write_all(self._folder, self._files(standing, last_survey))
        self._watch.note()

    def _demand_newest(self, version: int) -> None:
        self._demand_unchanged_files()
        if version != self._version:
            raise Outdated("The slab was changed in another window; here is the newer state.")

    def _demand_unchanged_files(self) -> None:
        """Nothing that another program wrote meanwhile is written over: it is taken up instead."""
        changed = self._watch.changed()
        if not changed:
            return
        if job.JOB in changed:  # thickness, shop or unit may be others now
            raise ReviewError(f"{self._folder / job.JOB} was changed by another program, and nothing was saved; end "
                              "this review with Ctrl-C and start it again.")
        try:
            read = job.read_job(self._folder)
            if read.plan is None:
                raise JobError(f"{self._folder / job.PLAN} is missing; place the keys with: crackmap place "
                               f"{self._folder}")
            if read.survey.photo.sha256 != self._now.survey.photo.sha256:
                raise JobError(f"{self._folder} now holds another photo; end this review and start it again.")
        except JobError as problem:
            raise ReviewError(f"{' and '.join(changed)} in the job folder was changed by another program; nothing was "
                              f"saved. {problem}") from problem
        self._watch.note()
        standing = Standing(read.edits, read.survey, read.plan, self._lines(read.survey),
                            f"{' and '.join(changed)} changed outside")
        if read.plan.edits_digest != jsonform.digest_of(read.edits):
            standing = replace(self._made(standing, Change(read.edits, "")), words=standing.words)
            self._write(standing, read.survey)
        self._past, self._future = (*self._past, self._now), ()
        self._now = standing
        self._version += 1
        raise Outdated(f"{' and '.join(changed)} in the job folder was changed by another program; nothing of it was "
                       "written over, and here is what it holds now. Your last change was not made.")


def _on_survey(edits: Edits) -> tuple[Any, ...]:
    """What of the edits bears on the survey, to be compared."""
    def plain(rows: FloatArray | None) -> Any:
        return None if rows is None else rows.tolist()

    return (plain(edits.outline), plain(edits.refused_cracks), edits.crack_ends,
            [plain(line) for line in edits.drawn_cracks])


def _outline(key: Key) -> FloatArray:
    from crackmap.keys.outline import to_points

    return to_points(key.pocket, 0.1)
