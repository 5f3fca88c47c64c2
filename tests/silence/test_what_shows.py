"""What a photo or drawing cannot know by itself, and where it shows all the same."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pdfplumber
import pytest

from crackmap import job
from crackmap.cli.main import main
from crackmap.errors import LengthError
from crackmap.jsonform import plan_as_json, plan_from_json
from crackmap.keys.witness import LEAST_TELLING, witness_place
from crackmap.placement.unseen import unseen_wood
from crackmap.records import PhotoFacts, Reference, frozen_array
from crackmap.scale.plausible import scale_doubts, shape_doubts, thickness_doubts
from crackmap.scale.sources import known_lens
from crackmap.settings import KnownLens, ScaleSettings, SheetSettings
from crackmap.sheets.bench_tables import tape_rows
from crackmap.sheets.bench_words import first_look, tape_limits
from crackmap.sheets.dxf import keys_dxf, slab_dxf
from crackmap.sheets.plan_mark import plan_mark
from crackmap.sheets.setting_out import setting_out_pdf
from crackmap.sheets.svg import slab_svg
from crackmap.sheets.template import template_pdf
from crackmap.shop import Shop
from crackmap.units import parse_length
from tests.builders import a_cut_plan, a_plan, a_rectified_photo, a_survey
from tests.review.jobs import a_job_folder

USUAL = ScaleSettings()


def texts_of(drawing: bytes) -> str:
    read = ezdxf.read(io.StringIO(drawing.decode()))
    return "\n".join(text.dxf.text for text in read.modelspace().query("TEXT"))


def pages_of(sheet: bytes) -> list[str]:
    return [page.extract_text() for page in pdfplumber.open(io.BytesIO(sheet)).pages]


def test_a_plausible_photo_raises_no_doubt() -> None:
    assert scale_doubts(a_survey(), USUAL, 45.0) == () and thickness_doubts(a_survey(), 45.0) == ()


@pytest.mark.parametrize(("lens", "words"), [(26.0, "camera was 14 mm"), (20_000.0, "camera was 11000 mm")])
def test_a_marker_size_in_the_wrong_unit(lens: float, words: str) -> None:
    """geometric: the camera's height is millimetres a pixel times the focal length in pixels, 0.55 x 26."""
    survey = a_survey()
    camera = frozen_array([[lens, 0, 1500], [0, lens, 1125], [0, 0, 1]])
    mapping = replace(survey.mapping, camera_matrix=camera, distortion=frozen_array([0.0] * 5))
    told = scale_doubts(replace(survey, mapping=mapping), USUAL, 45.0)
    assert any(words in each for each in told)


@pytest.mark.parametrize("thickness", [1.75, 450.0])
def test_a_thickness_in_the_wrong_unit(thickness: float) -> None:
    assert "figure and unit" in thickness_doubts(a_survey(), thickness)[0]


def test_a_bench_marker_with_the_sign_or_the_thickness_wrong() -> None:
    survey = a_survey()
    aside = Reference("marker", 3, frozen_array(survey.references[0].corners_mm + [0.0, 900.0]), (100.0, 100.0))
    survey = replace(survey, references=(aside,))
    assert "above the show" in " ".join(scale_doubts(survey, replace(USUAL, marker_height=45.0), 45.0))
    assert "one of these figures is wrong" in " ".join(
        scale_doubts(survey, replace(USUAL, marker_height=-45.0), 38.0))
    assert scale_doubts(survey, replace(USUAL, marker_height=-45.0), 45.0) == ()


def test_a_mirrored_photo_that_nothing_in_view_betrays() -> None:
    survey = a_survey()
    alike = tuple(replace(r, id=17) for r in survey.references)
    assert "mirrored" in " ".join(scale_doubts(replace(survey, references=alike), USUAL, 45.0))
    sheet = tuple(replace(r, kind="a4", id=None) for r in survey.references)
    assert "mirrored" in " ".join(scale_doubts(replace(survey, references=sheet), USUAL, 45.0))


def test_a_panorama() -> None:
    assert "panorama" in shape_doubts(PhotoFacts("wide.jpg", "", 6000, 1500))[0]
    assert shape_doubts(PhotoFacts("usual.jpg", "", 4000, 2250)) == ()  # 16:9


def test_a_crack_that_runs_under_a_marker_and_a_key_on_it() -> None:
    survey = a_survey()
    plan = a_plan(survey)
    crack = next(c for c in survey.cracks if "tip" in c.ends)
    end = crack.centreline[0 if crack.ends[0] == "tip" else -1]
    square = np.array([[-40, 40], [40, 40], [40, -40], [-40, -40]])
    covering = (Reference("marker", 5, frozen_array(end + square), (80.0, 80.0)),
                Reference("marker", 6, frozen_array(plan.keys[0].centre + square), (80.0, 80.0)))
    told = " ".join(unseen_wood(replace(survey, references=covering), plan.keys))
    assert crack.id in told and "under marker 5" in told and "K1" in told and "hidden by marker 6" in told
    assert unseen_wood(replace(survey, references=()), plan.keys) == ()


def test_a_print_that_was_fitted_to_the_page_shows_on_the_tape() -> None:
    """geometric: markers printed at 95 % and taken for 100 % stretch every distance by 1/0.95."""
    survey = a_survey()
    b = survey.datum.b / 0.95
    printed_small = replace(survey, datum=replace(survey.datum, b=frozen_array(b)))
    rows = dict(tape_rows(printed_small, a_plan(survey), SheetSettings()))
    off = float(rows["A to B"]) - float(survey.datum.b[0])
    limit = 3 * survey.scale.scale_sigma_percent / 100 * float(b[0])
    assert off > 10 * limit
    assert f"{limit:.1f} mm" in tape_limits(printed_small, "mm")[0] and "fitted to the page" in tape_limits(
        printed_small, "mm")[0]


def test_size_and_thickness_are_among_the_tape_checks() -> None:
    rows = dict(tape_rows(a_survey(), a_plan(a_survey()), SheetSettings()))
    assert float(rows["thickness, at both ends"]) == 45.0
    assert float(rows["length over all"]) == pytest.approx(1400.0, abs=40.0)  # live ends wander
    assert "taped 3-17=1160.0mm" in " ".join(tape_limits(a_survey(), "mm"))


def test_every_paper_and_drawing_of_a_plan_bears_its_mark() -> None:
    survey, shop, settings = a_survey(), Shop(), SheetSettings()
    plan = a_cut_plan(survey)
    mark = plan_mark(plan)
    for drawing in (slab_dxf(survey, plan, settings), keys_dxf(plan, shop, settings),
                    slab_dxf(survey, plan, replace(settings, drawing_units="in"))):
        assert mark in texts_of(drawing)
    assert mark in slab_svg(survey, plan, settings).decode()
    for page in pages_of(setting_out_pdf(survey, plan, shop, settings)) + pages_of(
            template_pdf(survey, plan, settings)):
        assert mark in page


def test_another_plan_has_another_mark_and_the_same_plan_the_same() -> None:
    survey = a_survey()
    plan = a_cut_plan(survey)
    assert plan_mark(plan_from_json(plan_as_json(plan))) == plan_mark(plan)
    deeper = a_cut_plan(survey, depths=(22.0,))
    assert len({plan_mark(plan), plan_mark(deeper), plan_mark(replace(plan, keys=plan.keys[1:])),
                plan_mark(replace(plan, thickness_mm=44.0)), plan_mark(replace(plan, photo_sha256="x"))}) == 5


def test_an_inch_drawing_says_so_in_its_header_and_its_texts() -> None:
    survey, plan = a_survey(), a_plan(a_survey())
    inches = slab_dxf(survey, plan, SheetSettings(drawing_units="in"))
    assert ezdxf.read(io.StringIO(inches.decode())).header["$INSUNITS"] == 1  # published: DXF reference, 1 is inches
    words = texts_of(inches)
    assert "UNITS: INCHES" in words and "CHECK BAR 100 mm = 3.9370 in" in words
    assert "MARKS A TO B: 1160.0 mm (" in words and "POCKET DEPTH: 20.0 mm (" in words


def test_the_drawing_names_the_widest_bit_and_the_face() -> None:
    survey, plan = a_survey(), a_plan(a_survey())
    words = texts_of(slab_dxf(survey, plan, SheetSettings()))
    # geometric: inside corners have 1.1 times the radius of a 6.35 mm bit
    assert f"A BIT OF {6.35 * 1.1:.2f} mm" in words and "SHOW FACE, SEEN FROM ABOVE" in words


def test_the_bench_sheet_shows_the_face() -> None:
    survey = a_survey()
    plan = a_plan(survey)
    sheet = setting_out_pdf(survey, plan, Shop(), SheetSettings(), a_rectified_photo(survey))
    with_picture = [page for page in pdfplumber.open(io.BytesIO(sheet)).pages if page.images]
    assert len(with_picture) == 1
    words = with_picture[0].extract_text()
    assert "Is this the slab?" in words and survey.photo.sha256[:12] in words


def test_a_place_on_the_wood_tells_swapped_marks_and_the_other_face() -> None:
    survey = a_survey()
    plan = a_plan(survey)
    place = witness_place(survey, plan.keys, survey.datum.a, survey.datum.b)
    assert place is not None and place.tells_by > LEAST_TELLING
    # geometric: with A and B swapped the bit stands at B less the place
    swapped = survey.datum.b - place.at
    assert np.hypot(*(swapped - place.at)) >= place.tells_by - 1e-9
    assert place.over.split()[1].rstrip(",") in {c.id for c in survey.cracks}
    assert place.over in first_look(survey, plan)[0]
    assert witness_place(survey, (), survey.datum.a, survey.datum.b).over == "the slab's edge"  # type: ignore[union-attr]


def test_aligning_with_a_and_b_swapped(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = a_job_folder(tmp_path / "job")
    far = float(job.read_survey(folder).datum.b[0])
    main(["align", str(folder), "--a", f"{far},0", "--b", "0,0"])
    said = capsys.readouterr().out
    assert "turned by 180 degrees" in said and "A and B were swapped" in said and "the bit must stand over" in said
    main(["align", str(folder), "--a", "0,0", "--b", f"0,{far}"])  # a quarter turn is laid on purpose
    said = capsys.readouterr().out
    assert "WARNING" not in said and "the bit must stand over" in said


def test_a_slab_moved_between_the_two_readings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = a_job_folder(tmp_path / "job")
    far = float(job.read_survey(folder).datum.b[0])
    main(["align", str(folder), "--a", "0,0", "--b", f"{far + 6.0},0"])
    assert "do not cut yet" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["1,203mm", "12,500 mm", "1,250in"])
def test_a_comma_that_may_mean_thousands(text: str) -> None:
    with pytest.raises(LengthError, match="thousand or a fraction"):
        parse_length(text)


@pytest.mark.parametrize(("text", "mm"), [("0,125in", 3.175), ("44,5mm", 44.5), ("1,25in", 31.75)])
def test_a_decimal_comma_is_read(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm)  # geometric


def test_a_lens_file_with_a_photo_that_tells_no_focal_length() -> None:
    """A lens file of another zoom cannot be told then, and that is said."""
    lens = KnownLens((4000, 3000), ((3000.0, 0.0, 2000.0), (0.0, 3000.0, 1500.0), (0.0, 0.0, 1.0)), (0.0,) * 5, 26.0)
    silent, telling = PhotoFacts("a.jpg", "", 4000, 3000), PhotoFacts("a.jpg", "", 4000, 3000, 26.0)
    assert "on trust" in known_lens(silent, replace(USUAL, lens=lens))[1][-1]
    assert known_lens(telling, replace(USUAL, lens=lens))[1] == ()
