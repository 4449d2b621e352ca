# SPDX-License-Identifier: GPL-3.0-or-later
"""From the settings of a job to bodies that stand and move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import JobError
from ..job import KeepClear, KeepClearBody, WayPoint
from ..mesh.mesh import Mesh
from .body import Body, Key, fastened, headings_along, make_body, straight_way
from .envelope import box_envelope, hull_envelope, vehicle_envelope, wheel_contacts
from .stance import Stance, stance

STANDS = "stands as it was modelled"


@dataclass(frozen=True, eq=False)
class Placed:
    """All bodies of a job; one that may stand in several ways is there once for each.

    Attributes
    ----------
    bodies : in the order of the job. unsure : (name, what is unsure) of each ambiguous stance.
    """

    bodies: tuple[Body, ...]
    unsure: tuple[tuple[str, str], ...]


def place_bodies(settings: KeepClear, meshes: Mapping[str, Mesh]) -> Placed:
    """Pose every body of a job and give it its way in.

    Parameters
    ----------
    settings : of the job.
    meshes : the mesh of each file that the job names, in the file's own numbers and axes.

    Raises
    ------
    JobError
        A file without its mesh, or a stance that is impossible.
    """
    bodies: list[Body] = []
    unsure: list[tuple[str, str]] = []
    leader: Body | None = None
    for number, row in enumerate(settings.bodies):
        mesh = _shape(row, meshes, number)
        contacts = _contacts(row)
        for rest, text in _rests(row, contacts, unsure):
            if not row.moves:
                bodies.append(make_body(row.name, mesh, rest, stance=text))
            elif leader is None or leader.name == row.name:
                way = _way(settings, row, contacts, rest)
                extra = (settings.roll, settings.bounce, settings.sideways)
                leader = make_body(row.name, mesh, rest, way, *extra, text)
                bodies.append(leader)
            else:
                bodies.append(fastened(row.name, mesh, rest, leader, text))
    return Placed(tuple(bodies), tuple(unsure))


def files_of(settings: KeepClear) -> tuple[str, ...]:
    """Files that the bodies of a job come from, each once, in order."""
    return tuple(dict.fromkeys(row.file for row in settings.bodies if row.file is not None))


def _shape(row: KeepClearBody, meshes: Mapping[str, Mesh], number: int) -> Mesh:
    if row.file is not None:
        if row.file not in meshes:
            key = f"keep_clear.bodies[{number}].file"
            raise JobError(f'{key}: the mesh of "{row.name}" was not given; read {row.file} and pass it along', key)
        mesh = meshes[row.file]
        return mesh if row.unit == 1.0 else Mesh(mesh.vertices * row.unit, mesh.triangles)
    size = row.size or (0.0, 0.0, 0.0)
    if row.envelope == "vehicle":
        dimensions = (row.wheelbase or 0.0, row.track or 0.0, row.front_overhang or 0.0)
        return vehicle_envelope(size, *dimensions, row.ground_clearance)
    return hull_envelope(size) if row.envelope == "hull" else box_envelope(size)


def _contacts(row: KeepClearBody) -> tuple[tuple[float, float], ...]:
    if row.supports or row.envelope != "vehicle":
        return row.supports
    return wheel_contacts(row.wheelbase or 0.0, row.track or 0.0)


def _stance(row: KeepClearBody, contacts: Sequence[tuple[float, float]], heights: Sequence[float]) -> Stance:
    try:
        return stance(contacts, heights or [0.0] * len(contacts), row.stance, row.centre_of_gravity)
    except JobError as error:
        raise JobError(f'keep_clear.bodies: "{row.name}": {error}', "keep_clear.bodies") from None


def _rests(
    row: KeepClearBody, contacts: Sequence[tuple[float, float]], unsure: list[tuple[str, str]]
) -> list[tuple[Key, str]]:
    """Every pose at rest, with how it came about."""
    x, y, z = row.at
    if not contacts:
        return [(Key(row.at, row.heading, row.pitch, row.roll), STANDS)]
    found = _stance(row, contacts, row.heights)
    if found.ambiguous:
        unsure.append((row.name, found.text))
    out = []
    for pose in found.poses:
        text = found.text if not found.ambiguous else f"stands {pose.model}, one of {len(found.poses)} ways"
        out.append((Key((x, y, z + pose.height), row.heading, pose.pitch, pose.roll), text))
    return out


def _way(
    settings: KeepClear, row: KeepClearBody, contacts: Sequence[tuple[float, float]], rest: Key
) -> tuple[Key, ...]:
    if not settings.way_in:
        return straight_way(rest, settings.approach) if settings.approach > 0.0 else ()
    places = np.array([point.at for point in settings.way_in] + [rest.place], dtype=np.float64)
    along = headings_along(places, rest.heading).tolist()
    keys = []
    for point, heading in zip(settings.way_in, along, strict=False):
        steered = heading if settings.steer == "along" else rest.heading
        keys.append(_key(row, contacts, point, steered if point.heading is None else point.heading))
    return tuple(keys)


def _key(row: KeepClearBody, contacts: Sequence[tuple[float, float]], point: WayPoint, heading: float) -> Key:
    if not point.heights or not contacts:
        return Key(point.at, heading, point.pitch, point.roll)
    if len(point.heights) != len(contacts):
        raise JobError(
            f'keep_clear.way_in: {len(point.heights)} heights for the {len(contacts)} supports of "{row.name}"; write '
            "one for each",
            "keep_clear.way_in",
        )
    pose = _stance(row, contacts, point.heights).poses[0]
    x, y, z = point.at
    return Key((x, y, z + pose.height), heading, pose.pitch, pose.roll)
