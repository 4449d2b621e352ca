# SPDX-License-Identifier: GPL-3.0-or-later
"""A job file with every setting at its default, with comments: where a user begins."""

from __future__ import annotations

from typing import Final

_TEMPLATE: Final = """\
# A job. Lengths, masses, densities and angles are a number and a unit in quotes ("2440 mm", "8 ft", "0.9 lb/ft3").
# An absent key means the value shown here. Limits are only checked: whether a piece can be lifted, carried, lashed or
# stood up without harm is for competent people and the local codes to say.

title = "Wrenlow Skerry outcrop"
[carving]
unit = "m"                 # unit of the file's own numbers, or a length ("23.6 mm"); .blend and glTF say theirs
up = "z"
base = "close"             # close an open base (all open edges near the lowest z, one loop or several); "as-is": refuse it
mend = "small"             # "small": what loses nothing a carver would see, the steps below; "none": refuse what is not a solid; "steps": those listed
steps = ["weld", "doubles", "split", "orient", "crumbs", "fill"]   # in this order; also "floor" (cut off floor that was scanned along) before "crumbs", and "remesh" (a new skin, by Blender)
crumb = "1 l"              # a smaller body is a crumb: a loose one is left out by mending, and none is a piece
fill = "30 mm"             # widest hole that is filled; what the laminate bridges
deviation = "5 mm"         # that a new skin may lie from the scan, for the step "remesh"
# taped = [{ a = ["0.4 m", "0 m", "1.1 m"], b = ["2.9 m", "0.1 m", "1.2 m"], length = "2500 mm" }]   # example: points after unit and up, and the taped distance; the scan is scaled by them
[foam]
billet = ["2440 mm", "1220 mm", "610 mm"]
density = "15 kg/m3"
kerf = "3 mm"
[blockup]
built = "unknown"          # "unknown": glue lines are drawn only; "planned" or "as-given": they are seams, and slivers are checked
origin = ["0 m", "0 m", "0 m"]
rotation = "0 deg"
stagger = 0.5              # of a billet's length, course to course
position = "fewest"        # of a planned block-up: searched so that fewest billets are needed; "given": origin and rotation as above
# offsets = [["0 m", "0 m"], ["1.22 m", "0 m"]]   # example: (along, across) of each course from the first up, over again; derived: by stagger
# heights = ["610 mm", "300 mm"]                  # example: of each course from the first up, the last for all above; derived: the billet's
# picked = [[["0.4 m", "-0.6 m", "0.61 m"], ["1.9 m", "-0.7 m", "0.61 m"], ["1.2 m", "0.6 m", "0.61 m"]]]   # example: three points on each glue line that shows; a block-up "as-given" is moved onto them
margin = "20 mm"           # of foam left outside the carving when blocking out
can_covers = "10 m2"       # of glue line that one can of adhesive bonds (one maker prints 8 to 12 m2 for 800 ml)
[skin]
layers = [                 # from the foam out
  { name = "barrier foil", mass = "0.17 kg/m2", thickness = "0.1 mm", faces = ["carved", "joint", "base", "back"] },
  { name = "laminate", glass = "4 oz/ft2", resin_ratio = 2.5, faces = ["carved"], edge_return = "50 mm" },
  { name = "light laminate", glass = "450 g/m2", resin_ratio = 2.5, faces = ["joint", "back"] },
  { name = "cement coat", density = "1750 kg/m3", thickness = "2 mm", faces = ["carved"] },
  { name = "paint", mass = "0.4 kg/m2", faces = ["carved"] },
]
bridging = "30 mm"         # scale of the covering area; 0: the exact area
catalyst = 0.02            # share of the resin; follows the temperature, see the resin's data sheet
place = ["outdoors"]       # also "indoors", "public": these bring the fire-rating questions, "outdoors" the wind
[limits]
piece_mass = "50 kg"       # the workshop's own limit; it alone bounds planning
crew = 4                   # crew and person_lift feed the carry check (published rules, as notes)
person_lift = "25 kg"
doorway = ["3.0 m", "3.0 m"]
hand_room = "50 mm"
min_thickness = "75 mm"    # of foam, along the inward normal on joint faces, 100 mm and more from a feathered rim
wire_length = "1.5 m"      # longest straight stretch of wire inside the part cut, least over wire directions (common practice, no source)
within_billet = false      # true: every piece must come out of one billet; of a block-up that is known from the billets where they lie, else by size alone
any_pose = false           # true: a piece may be carried and loaded lying or tipped
# piece_size = ["2.4 m", "1.2 m", "1.2 m"]   # example; derived: load space length; the smaller of its door and (doorway - 2 hand_room)
[joints]
kinds = ["plane", "profile"]
fit = "5 mm"               # part of the gap
seams = ["crevice", "marked", "glue line"]   # "marked": lines drawn in Blender, or those of a file given to run --marks
seam_tolerance = "25 mm"
on_seam_note = 0.6         # share of the visible joint line under which a joint is noted
on_seam_warn = 0.35
sliver = "60 mm"           # least distance to a glue plane that is not followed and lies within 30 degrees of parallel
allowance = "trim"         # "trim": the gap comes off both faces; "grow": only the kerf is lost, the finished job is longer
hidden = 0.5               # what proposed joints aim at: 0 few pieces, 1 well hidden joints
compare_planes = false     # true: plan with planes alone too, and say what profiles gain; takes twice as long
# pieces = 20              # how many pieces to propose, where that many can be made; derived: as few as the plan comes to
[load_space]
size = ["12.0 m", "2.33 m", "2.35 m"]
door = ["2.28 m", "2.26 m"]
payload = "20000 kg"
[cost]
labour = []                # hours a square metre, such as { stage = "laminate", hours = 0.8, faces = ["carved"] }
overhead = 0.0             # share of materials and labour
contingency = 0.0          # share of materials, labour and overhead
[build]
pins = []                  # example: [{ part = ["1.2 m", "0.4 m", "0.3 m"], place = 1 }]: the piece there is built first
[marking]
numbering = "build order"  # or "footprint": round the middle of the footprint
start = "-x"               # where that begins, and which way it goes seen from above
clockwise = false
# prefix = "W-"            # example: before each number; derived: none
reading = "5 m"            # from how far marks should be read: letters are 1/200 of it high
[setting_out]
spacing = "250 mm"         # most between points along a joint's line
marks = []                 # example: [{ name = "F1", scan = ["0 m", "0 m", "0 m"], site = ["2.412 m", "0.3 m", "0 m"], floor = true }]; three or more, or they are proposed
[keep_clear]               # what the rock must never touch; without bodies nothing is checked
clearance = "50 mm"        # least distance from the finished surface, the skin's thickness taken off (from memory, unverified)
close_fit = ["50 mm", "120 mm"]  # distances that count as a close fit
facing = "300 mm"          # carved surface farther than this from a body does not face it
tolerance = "1 mm"         # by which a least distance on the way may be too large
approach = "0 m"           # length of a straight way in along the heading, in the pose at rest; or write way_in
steer = "kept"             # headings on the way that are not given: "kept" as at rest, "along" the way
roll = "0 deg"             # what may come on top at every place of the way, to either side
bounce = "0 mm"
sideways = "0 mm"
boards = "500 mm"          # between gauge boards; "0 mm": only those of stations
stations = []              # example: ["-1.2 m", "0.4 m"], forward of the first body's origin
way_in = []                # example: [{ at = ["11 m", "1.7 m", "0 m"], heights = ["0 m", "0 m", "0 m", "0 m"] }], the outermost first
bodies = []                # each in one line: [{ name = "boat", file = "boat.ply", at = ["4.3 m", "1.7 m", "0.4 m"], pitch = "6 deg" }],
# or, without the line above, a table for each; a file is sought beside the job file, x forward, y left, z up:
# [[keep_clear.bodies]]
# name = "car"
# envelope = "vehicle"     # or "hull", "box", which take size alone
# size = ["4.6 m", "1.9 m", "1.6 m"]
# wheelbase = "2.9 m"
# track = "1.5 m"
# front_overhang = "0.8 m"
# at = ["4.3 m", "1.7 m", "0 m"]
# heading = "0 deg"
# heights = ["0 m", "300 mm", "0 m", "0 m"]   # of the pads front left, front right, rear left, rear right
# stance = "springs"       # or "rigid", by centre_of_gravity = ["0 m", "0 m", "0.6 m"]
# moves = true             # false: it stands there before
"""  # noqa: E501


def job_template() -> str:
    """Return a commented TOML job; `Job.from_toml` makes ``Job()`` of it."""
    return _TEMPLATE
