# SPDX-License-Identifier: GPL-3.0-or-later
"""Prints what a new skin makes of scans that nothing else closes, and its deviation beside other libraries'; by hand.

`python tests/remesh_report.py`: two surfaces of a computed tomography, three metres long, from the scan to a closed
skin by one recipe. Much of them lies deep inside the skin, so that many distances are large. About two minutes of one
processor each.
"""

from __future__ import annotations

import re
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "outside"))
import test_new_skin as skins
import trimesh
from datasets import HEAD, SKULL, path_of
from outcomes import WIDE, read, scaled
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare
from seamwright.core.job import SMALL_STEPS
from seamwright.core.mesh.mesh import Mesh
from seamwright.voxel_skin import voxel_skin

DEVIATION = 0.1
AGREE = 0.05
"""Share by which what is said and what other libraries find may differ."""


def main() -> int:
    wrong = 0
    for dataset in (HEAD, SKULL):
        given: list[Mesh] = []

        def remesher(mesh: Mesh, voxel: float, given: list[Mesh] = given) -> Mesh:
            given.append(mesh)
            return voxel_skin(mesh, voxel)

        recipe = Recipe((*SMALL_STEPS, "remesh"), fill=WIDE, deviation=DEVIATION)
        begin = time.process_time()
        intake = prepare(scaled(read(path_of(dataset))), recipe=recipe, remesher=remesher)
        spent = time.process_time() - begin
        closed = trimesh.Trimesh(intake.mesh.vertices, intake.mesh.triangles, process=False).is_volume
        (note,) = (n for n in intake.notes if "a new skin was laid over it" in n)
        words = re.findall(r"(\d[\d.]*) (m|mm)(?= from| root|\))", note)
        said = [float(number) * (1.0 if unit == "m" else 1e-3) for number, unit in words]
        found = [*skins.measured(given[-1], intake.mesh), *skins.measured(intake.mesh, given[-1])]
        apart = max(abs(one - two) / two for one, two in zip(said, found, strict=True))
        wrong += not closed or apart > AGREE
        sys.stdout.write(
            f"{dataset.name}: {len(given[-1].triangles)} triangles, closed {closed}, {spent:.0f} s of processor\n"
            f"  {note}\n  other libraries: {', '.join(f'{1000.0 * value:.2f} mm' for value in found)}; "
            f"furthest apart {apart:.1%}\n"
        )
        sys.stdout.flush()
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
