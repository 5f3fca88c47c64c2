"""The resin and the underside through JSON and back."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from crackmap import jsonform
from crackmap.errors import JobError
from crackmap.fields import Fields
from crackmap.jsonform import UndersideNote, dumps, survey_as_json, survey_from_json
from crackmap.jsonresin import resin_as_json, resin_from_json
from crackmap.resin.estimate import estimate_resin
from crackmap.settings import ScaleSettings, UndersideSettings
from crackmap.shop import ResinSheet, Shop
from crackmap.underside.join import join_faces
from tests.builders import a_survey
from tests.underside.faces import THICKNESS, show_face, underside


def test_resin_round_trip() -> None:
    survey = replace(show_face(), other_face=join_faces(show_face(), underside(), THICKNESS))
    estimate = estimate_resin(survey, (), Shop(resin=ResinSheet(price_per_litre=30.0, currency="EUR")), THICKNESS)
    form = json.loads(dumps(resin_as_json(estimate)))
    back = resin_from_json(Fields(form, "plan.json: resin"))
    assert resin_as_json(back) == resin_as_json(estimate)
    assert len(back.pours) >= 2 and back.dams and back.order and back.cost is not None


def test_survey_with_its_underside_round_trip() -> None:
    show = replace(a_survey(), cracks=show_face().cracks, voids=show_face().voids, outline=show_face().outline)
    joined = replace(show, other_face=join_faces(show, underside(3.0, (20.0, 5.0)), THICKNESS))
    form = json.loads(dumps(survey_as_json(joined)))
    back = survey_from_json(form)
    assert back.other_face is not None and joined.other_face is not None
    assert np.allclose(back.other_face.under_to_show, joined.other_face.under_to_show, atol=1e-8)
    assert survey_as_json(back) == survey_as_json(joined)
    form["underside"]["below"][0]["state"] = "x"
    with pytest.raises(JobError, match="state must be letters of tb?"):
        survey_from_json(form)


def test_the_second_photo_in_the_jobs_note() -> None:
    under = UndersideNote("underside.jpg", "IMG_2.jpg", ScaleSettings(marker_size=80.0),
                          UndersideSettings("end", ((1.0, 2.0, 3.0, 4.0),), (7,)))
    note = jsonform.JobNote("photo.jpg", "IMG_1.jpg", 45.0, "mm", underside=under)
    assert jsonform.note_from_json(json.loads(dumps(jsonform.note_as_json(note)))) == note
    form = jsonform.note_as_json(note)
    form["underside"]["photo"] = "../elsewhere.jpg"
    with pytest.raises(JobError, match="must be the name of a file in the job folder"):
        jsonform.note_from_json(form)
