# SPDX-License-Identifier: GPL-3.0-or-later
"""The property groups of a job: on its collection, so that append, link, undo and save carry them."""

from typing import Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..core.findings import Severity
from ..core.job import PLACES
from ..core.seams.index import SEAM_NAMES
from . import selection, skin_text

VERSION = 1
"""Of what is stored; raised when it changes."""

_DIGITS = 4
"""Decimals of a length: a billet of 2.44 m shall not be shown as 2.4 m."""


def _length(name: str, description: str, least: float = 0.0) -> Any:
    """A length, in the scene's units."""
    return FloatProperty(name=name, description=description, subtype="DISTANCE", min=least, precision=_DIGITS)


def _sides(name: str, description: str, size: int) -> Any:
    """Lengths of the sides of something, in the scene's units."""
    return FloatVectorProperty(
        name=name, description=description, size=size, subtype="XYZ_LENGTH", unit="LENGTH", min=1e-9, precision=_DIGITS
    )


def _is_mesh(_: object, obj: bpy.types.Object) -> bool:
    return obj.type == "MESH"


def _is_curve(_: object, obj: bpy.types.Object) -> bool:
    return obj.type == "CURVE"


def _is_job(_: object, collection: Any) -> bool:
    return bool(collection.seamwright.is_job)


class SEAMWRIGHT_PG_finding(bpy.types.PropertyGroup):
    """One result of a check."""

    check: StringProperty()
    severity: EnumProperty(items=[(str(s), str(s).title(), "") for s in Severity])
    message: StringProperty()
    remedy: StringProperty()
    piece: StringProperty()
    joint: StringProperty()
    has_place: BoolProperty()
    place: FloatVectorProperty(size=3, description="Metres, world")


class SEAMWRIGHT_PG_fault(bpy.types.PropertyGroup):
    """All faults of one kind in the carving; its name is the kind."""

    severity: EnumProperty(items=[(str(s), str(s).title(), "") for s in Severity])
    message: StringProperty()
    remedy: StringProperty()
    size: FloatProperty(description="Metres across the largest")
    places: StringProperty(description="Metres, world, as JSON; largest first")
    shown: IntProperty(description="Which place the view goes to next")


class SEAMWRIGHT_PG_plan(bpy.types.PropertyGroup):
    """A plan of joints that is kept; its name is what it is called."""

    joints: StringProperty(description="Each joint with its name and reason, as JSON; metres")
    text: StringProperty(description="What was said of it")
    wish: StringProperty(description="What was asked for")
    measures: StringProperty(description="What it comes to, as JSON; empty: not weighed")
    settings: StringProperty(description="Fingerprint of the settings that it was weighed with")
    surface: StringProperty(description="Fingerprint of the carving that it was weighed on")


class SEAMWRIGHT_PG_job(bpy.types.PropertyGroup):
    """Settings, report and results of one job."""

    is_job: BoolProperty()
    version: IntProperty()
    text: StringProperty(description="All settings as JOB.toml; what the panels do not show is kept here")
    unit_scale: FloatProperty(default=1.0, description="Metres in one Blender unit when the lengths were set")

    carving: PointerProperty(
        type=bpy.types.Object,
        name="Carving",
        description="The scan or model to cut; it is never changed",
        poll=_is_mesh,
    )
    verdict: StringProperty()
    report: StringProperty(description="What the check found, a line each")
    checked_surface: StringProperty()
    faults: CollectionProperty(type=SEAMWRIGHT_PG_fault)
    mend: EnumProperty(
        name="Mend",
        description="What is mended in the carving before it is cut; the scan itself is not changed",
        items=[
            (
                "small",
                "Small Faults",
                "What loses nothing a carver would see: holes up to the fill size, crumbs, doubles",
            ),
            ("none", "Nothing", "Refuse what is not a solid"),
            ("steps", "Listed Steps", "The steps that the settings list, in their order"),
        ],
    )
    fill: _length("Fill Holes to", "The widest hole that is filled")
    deviation: _length("New Skin Within", "How far a new skin may lie from the scan", least=1e-6)

    title: StringProperty(name="Title", description="Name of the job in tables and on the job pack")

    piece_mass: FloatProperty(
        name="Heaviest Piece",
        description="What a finished piece, skin included, may weigh",
        unit="MASS",
        min=1e-9,
        soft_max=500.0,
        precision=1,
    )
    crew: IntProperty(name="Crew", description="People who carry a piece", min=1, soft_max=4, max=100)
    person_lift: FloatProperty(
        name="Each Lifts",
        description="What one person lifts alone; the published team rule takes a share of the sum",
        unit="MASS",
        min=1e-9,
        soft_max=40.0,
        precision=1,
    )
    doorway: _sides("Doorway", "Width and height of the narrowest opening on the way", 2)
    hand_room: _length("Hand Room", "Room for hands at each side of the doorway")
    min_thickness: _length("Least Thickness", "Of the foam behind a joint face")
    wire_length: _length("Wire Length", "Longest straight stretch of wire in foam", least=1e-9)
    within_billet: BoolProperty(
        name="Out of One Billet",
        description="Every piece must come out of one billet: of a known block-up from the billets where they lie, "
        "otherwise by its size alone",
    )
    any_pose: BoolProperty(name="May Lie or Tip", description="Pieces may be carried and loaded lying or tipped")
    use_piece_size: BoolProperty(
        name="Own Size Limit", description="Set the largest piece here and not by load space and doorway"
    )
    piece_size: _sides("Largest Piece", "Length, width and height of a finished piece", 3)

    billet: _sides("Billet", "Length, width and height of a foam billet as bought", 3)
    density: FloatProperty(name="Density (kg/m³)", description="Of the foam", min=1e-6, soft_max=60.0, precision=1)
    kerf: _length("Kerf", "Foam lost to the wire or saw")
    fit: _length("Fit", "Clear room between two skinned joint faces")

    hidden: FloatProperty(
        name="Hide Joints",
        description="What proposed joints aim at: 0 is few pieces, 1 is joints that keep to seams wherever they can",
        min=0.0,
        max=1.0,
        default=0.5,
        subtype="FACTOR",
    )
    pieces: IntProperty(
        name="Pieces", description="How many pieces to propose; 0: as few as the plan comes to", min=0, max=1000
    )
    compare_planes: BoolProperty(
        name="Compare with Planes Alone",
        description="Plan with planes alone too, and say what profiles gain; takes twice as long",
    )
    proposed: StringProperty(description="What was last proposed, a few sentences")
    proposed_for: StringProperty(description="What was asked for when it was")
    plans: CollectionProperty(type=SEAMWRIGHT_PG_plan)
    seams: EnumProperty(
        name="Joints Follow",
        description="What counts as a seam: a line that hides a joint, or along which no glue is cut",
        items=[(word, word.title(), "") for word in SEAM_NAMES],
        options={"ENUM_FLAG"},
    )
    seam_tolerance: _length("Tolerance", "A joint so near to a seam counts as on it", least=1e-9)
    on_seam_note: FloatProperty(
        name="Note Under", description="Share of a joint's visible line on seams", min=0.0, max=1.0, subtype="FACTOR"
    )
    on_seam_warn: FloatProperty(
        name="Warn Under", description="Share of a joint's visible line on seams", min=0.0, max=1.0, subtype="FACTOR"
    )
    sliver: _length("Thinnest Slab", "Least foam between a joint and a glue line")
    use_uv_seams: BoolProperty(
        name="UV Seams Too",
        description="Edges that are marked as UV seams count as marked lines; scans carry thousands",
    )
    seams_text: StringProperty(description="What the last cut found of seams")

    load_size: _sides("Load Space", "Length, width and height inside the vehicle", 3)
    load_door: _sides("Its Door", "Width and height of the opening of the load space", 2)
    payload: FloatProperty(name="Payload", description="What the vehicle may load", unit="MASS", min=1e-9)

    bridging: _length(
        "Bridging", "Cracks narrower than this are bridged by the laminate; finer texture does not count either"
    )
    allowance: EnumProperty(
        name="Allowance",
        description="How room is made for the skin at joints",
        items=[
            ("trim", "Trim", "The gap comes off both faces"),
            ("grow", "Grow", "Only the kerf is lost, and the finished job is longer"),
        ],
    )
    place: EnumProperty(
        name="Place",
        description="Where the work will stand; indoors and public places bring the questions about its fire rating",
        items=[(word, word.title(), "") for word in PLACES],
        options={"ENUM_FLAG"},
    )
    skin_text: StringProperty(get=skin_text.get_skin, set=skin_text.set_skin, description="The skin, for presets")
    prices_text: StringProperty(description="The price list as it was read")
    prices_name: StringProperty()
    cost_total: StringProperty()
    cost_currency: StringProperty()
    cost_change: StringProperty()
    cost_stages: StringProperty(description="Stage and cost, a line each")

    keep_clear_body: PointerProperty(
        type=bpy.types.Object,
        name="Keep Clear",
        description="A mesh as it stands, x ahead, that the carving must not touch; frame and ramps joined to it",
        poll=_is_mesh,
    )
    keep_clear_way: PointerProperty(
        type=bpy.types.Object,
        name="Way In",
        description="A curve along which it comes in, turned as it stands; moved so that it ends at the body",
        poll=_is_curve,
    )
    clearance: _length("Clearance", "Least distance from the finished surface")
    approach: _length("Straight Way In", "Length of a straight way in along the body's own x; 0: it stands there")

    block_built: EnumProperty(
        name="Built",
        description="What is known of how the billets are stacked",
        items=[
            ("unknown", "Unknown", "Glue lines bind nothing"),
            ("planned", "Planned", "For a carving still to be made; its glue lines are seams"),
            ("as-given", "As Given", "As the scanned one was built; its glue lines are seams"),
        ],
    )
    block_position: EnumProperty(
        name="Position",
        description="Where a planned block-up lies",
        items=[
            ("fewest", "Fewest Billets", "Searched in every run"),
            ("given", "Given", "Origin and rotation as set here"),
        ],
    )
    block_origin: FloatVectorProperty(
        name="Origin",
        description="A corner of the first course",
        size=3,
        subtype="TRANSLATION",
        unit="LENGTH",
        precision=_DIGITS,
    )
    block_rotation: FloatProperty(name="Rotation", description="Of the billets' length about z", subtype="ANGLE")
    block_stagger: FloatProperty(
        name="Stagger", description="From course to course, of a billet's length", min=0.0, max=0.999, precision=3
    )
    block_margin: _length("Margin", "Foam to leave outside the carving when blocking out")

    joint_index: IntProperty(
        name="Joint", get=selection.get_joint, set=selection.set_joint, description="The active joint"
    )
    piece_index: IntProperty(
        name="Piece", get=selection.get_piece, set=selection.set_piece, description="The active piece"
    )

    findings: CollectionProperty(type=SEAMWRIGHT_PG_finding)
    is_cut: BoolProperty()
    cut_settings: StringProperty()
    cut_surface: StringProperty()
    cut_joints: IntProperty()
    gap_m: FloatProperty()
    plan: StringProperty()
    pack_folder: StringProperty(name="Folder", description="Where the job pack goes; a new folder", subtype="DIR_PATH")
    pack_pictures: BoolProperty(name="Pictures", description="Render pictures for the page", default=True)
    pack_written: StringProperty(description="Fingerprint of the cut that the pack was last written from")


class SEAMWRIGHT_PG_scene(bpy.types.PropertyGroup):
    """Which job of the scene the panels show."""

    job: PointerProperty(
        type=bpy.types.Collection, name="Job", description="The job that the panels show", poll=_is_job
    )


CLASSES = (SEAMWRIGHT_PG_finding, SEAMWRIGHT_PG_fault, SEAMWRIGHT_PG_plan, SEAMWRIGHT_PG_job, SEAMWRIGHT_PG_scene)
