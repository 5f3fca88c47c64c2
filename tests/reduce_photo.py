"""Make a smaller copy of a photo with truth: python -m tests.reduce_photo IN.json OUT_FOLDER 0.5

Shrinks by area averaging and carries the true camera along (pixel centres at
whole numbers: u' = (u + 0.5) s - 0.5), so that the copy's truth is as exact.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np


def reduce_truth(form: dict[str, Any], factor: float) -> dict[str, Any]:
    """The truth form of a photo shrunk by `factor`; pixel lists, which nothing reads, are left out."""
    shrink = np.array([[factor, 0, (factor - 1) / 2], [0, factor, (factor - 1) / 2], [0, 0, 1]])
    small = {k: v for k, v in form.items() if not k.endswith("_px") and k not in ("config", "silhouette_mm")}
    small["H_mm_to_undistorted_px"] = (shrink @ np.array(form["H_mm_to_undistorted_px"])).tolist()
    small["camera"] = form["camera"] | {"K": (shrink @ np.array(form["camera"]["K"])).tolist()}
    small["mm_per_px"] = form["mm_per_px"] / factor
    small["image_size"] = [round(side * factor) for side in form["image_size"]]
    for name in ("voids", "cracks", "references"):
        small[name] = [{k: v for k, v in item.items() if not k.endswith("_px")} for item in form[name]]
    return small


def main(arguments: list[str]) -> None:
    """Write OUT_FOLDER/NAME.jpg and NAME.json."""
    source, out, factor = Path(arguments[0]), Path(arguments[1]), float(arguments[2])
    form = json.loads(source.read_text(encoding="utf-8"))
    out.mkdir(parents=True, exist_ok=True)
    if factor == 1:
        (out / f"{source.stem}.jpg").write_bytes(source.with_suffix(".jpg").read_bytes())
    else:
        photo = cv2.imread(str(source.with_suffix(".jpg")))
        small = cv2.resize(photo, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(out / f"{source.stem}.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, 88])
    (out / f"{source.stem}.json").write_text(json.dumps(reduce_truth(form, factor)), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
