# SPDX-License-Identifier: GPL-3.0-or-later
"""The job: defaults, template, reading, refusing, writing back."""

import contextlib
import dataclasses
import math
import re
import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seamwright.core.errors import JobError
from seamwright.core.job import (
    FACES,
    BlockUp,
    Carving,
    Foam,
    Job,
    Joints,
    Layer,
    Limits,
    LoadSpace,
    Marking,
    Skin,
    Taped,
    job_template,
)

LAYER = '{ name = "coat", mass = "1 kg/m2", faces = ["carved"] }'


def layers(*rows: str) -> str:
    return f"[skin]\nlayers = [{', '.join(rows)}]"


def refusal(text: str) -> JobError:
    with pytest.raises(JobError) as caught:
        Job.from_toml(text)
    assert "\n" not in str(caught.value), "one clear line"
    return caught.value


# Defaults and template.


def test_template_is_the_default_job():
    assert Job.from_toml(job_template()) == Job()
    assert Job.from_toml("") == Job()


def test_defaults_in_si():
    job = Job()
    assert (job.title, job.carving) == ("Wrenlow Skerry outcrop", Carving(unit=1.0, up="z", base="close"))
    assert job.foam == Foam(billet=(2.44, 1.22, 0.61), density=15.0, kerf=0.003)
    assert job.blockup == BlockUp(
        built="unknown",
        origin=(0.0, 0.0, 0.0),
        rotation=0.0,
        stagger=0.5,
        position="fewest",
        offsets=(),
        heights=(),
        margin=0.02,
        can_covers=10.0,
    )
    assert [layer.name for layer in job.skin.layers] == [
        "barrier foil",
        "laminate",
        "light laminate",
        "cement coat",
        "paint",
    ]
    assert [layer.faces for layer in job.skin.layers] == [
        FACES,
        ("carved",),
        ("joint", "back"),
        ("carved",),
        ("carved",),
    ]
    assert [layer.edge_return for layer in job.skin.layers] == [0.0, 0.05, 0.0, 0.0, 0.0]
    assert job.skin.bridging == 0.03
    assert job.limits == Limits(
        piece_mass=50.0,
        crew=4,
        person_lift=25.0,
        doorway=(3.0, 3.0),
        hand_room=0.05,
        min_thickness=0.075,
        wire_length=1.5,
        within_billet=False,
        any_pose=False,
        piece_size=None,
    )
    assert job.joints == Joints(
        kinds=("plane", "profile"),
        fit=0.005,
        seams=("crevice", "marked", "glue line"),
        seam_tolerance=0.025,
        on_seam_note=0.6,
        on_seam_warn=0.35,
        sliver=0.06,
    )
    assert job.load_space == LoadSpace(size=(12.0, 2.33, 2.35), door=(2.28, 2.26), payload=20000.0)


def known_keys() -> set[str]:
    keys = set()
    for item in dataclasses.fields(Job):
        section = getattr(Job(), item.name)
        if dataclasses.is_dataclass(section):
            keys |= {f"{item.name}.{inner.name}" for inner in dataclasses.fields(section)}
        else:
            keys.add(item.name)
    return keys


def keys_of(table: dict) -> set[str]:
    return {
        f"{name}.{inner}" if isinstance(value, dict) else name
        for name, value in table.items()
        for inner in (value if isinstance(value, dict) else [""])
    }


def test_template_shows_every_key_once():
    assert keys_of(tomllib.loads(job_template())) == known_keys() - {
        "carving.taped",
        "limits.piece_size",
        "joints.pieces",
        "marking.prefix",
        "blockup.offsets",
        "blockup.heights",
        "blockup.picked",
    }
    used = {key for layer in tomllib.loads(job_template())["skin"]["layers"] for key in layer}
    assert used == {item.name for item in dataclasses.fields(Layer)}


def test_keys_that_the_template_comments_out_can_be_used():
    # A table for each keep-clear body stands for the line that lists them.
    listed = re.sub(r"^bodies = .*\n", "", job_template(), flags=re.MULTILINE)
    plain = re.sub(r"^# (\w+ = |\[\[)", r"\1", listed, flags=re.MULTILINE)
    assert keys_of(tomllib.loads(plain)) == known_keys()
    assert Job.from_toml(plain).limits.piece_size == (2.4, 1.2, 1.2)
    assert Job.from_toml(plain).carving.taped == (Taped((0.4, 0.0, 1.1), (2.9, 0.1, 1.2), 2.5),)
    assert Job.from_toml(Job.from_toml(plain).to_toml()) == Job.from_toml(plain)


def test_jobs_are_values():
    assert hash(Job()) == hash(Job.from_toml(job_template()))
    other = dataclasses.replace(Job(), foam=dataclasses.replace(Job().foam, density=20.0))
    assert len({Job(), other, Job.from_toml('[foam]\ndensity = "20 kg/m3"')}) == 2
    with pytest.raises(dataclasses.FrozenInstanceError):
        Job().title = "x"  # type: ignore[misc]


# Reading.


@pytest.mark.parametrize(
    ("text", "unit"),
    [("m", 1.0), ("mm", 0.001), ("in", 0.0254), ("ft", 0.3048), ("23.6 mm", 0.0236), ("1 in", 0.0254), ("'", 0.3048)],
)
def test_unit_is_a_name_or_a_length(text, unit):
    assert Job.from_toml(f'[carving]\nunit = "{text}"').carving.unit == unit


def test_text_with_byte_order_mark_and_windows_line_ends():
    assert Job.from_toml("\ufeff" + job_template().replace("\n", "\r\n")) == Job()


@pytest.mark.parametrize("zero", ['"0 mm"', '"0"', "0", "0.0", "-0.0"])
def test_zero_needs_no_unit(zero):
    bridging = Job.from_toml(f"[skin]\nbridging = {zero}").skin.bridging
    assert bridging == 0.0
    assert math.copysign(1.0, bridging) == 1.0


def test_layers_as_an_array_of_tables():
    text = '[[skin.layers]]\nname = "coat"\nmass = "1 kg/m2"\nfaces = ["carved"]\n'
    assert Job.from_toml(text).skin.layers == (Layer("coat", mass=1.0, faces=("carved",)),)
    assert Job.from_toml("[skin]\nlayers = []").skin.layers == ()


def test_empty_list_of_seams_is_a_wish():
    assert Job.from_toml("[joints]\nseams = []").joints.seams == ()


def test_whole_numbers_become_floats_where_a_float_is_kept():
    job = Job.from_toml("[joints]\non_seam_note = 1\non_seam_warn = 0")
    assert isinstance(job.joints.on_seam_note, float)
    made = Job(limits=Limits(piece_mass=50, crew=np.int64(3), doorway=[2, np.float32(2.5)]))
    assert type(made.limits.piece_mass) is float
    assert type(made.limits.crew) is int
    assert made.limits.doorway == (2.0, 2.5)
    assert hash(made) == hash(Job.from_toml(made.to_toml()))


# Size limit.


def test_size_limit_follows_load_space_door_and_doorway():
    assert Job().size_limit == (12.0, 2.28, 2.26)
    narrow = Job.from_toml('[limits]\ndoorway = ["2.0 m", "2.3 m"]\nhand_room = "100 mm"')
    assert narrow.size_limit == pytest.approx((12.0, 1.8, 2.1), rel=1e-15)
    low = Job.from_toml(
        '[limits]\ndoorway = ["2.0 m", "9 m"]\n[load_space]\ndoor = ["5 m", "2 m"]\nsize = ["4 m", "5 m", "3 m"]'
    )
    assert low.size_limit == pytest.approx((4.0, 1.9, 2.0), rel=1e-15)


def test_size_limit_is_piece_size_where_given():
    assert Job.from_toml('[limits]\npiece_size = ["9 m", "8 m", "7 m"]').size_limit == (9.0, 8.0, 7.0)


# Layers.


@pytest.mark.parametrize(
    ("given_by", "areal_mass", "depth"),
    [
        ('mass = "0.17 kg/m2"', 0.17, 0.0),
        ('mass = "0.17 kg/m2", thickness = "0.1 mm"', 0.17, 0.0001),
        ('density = "1750 kg/m3", thickness = "2 mm"', 3.5, 0.002),
        ('glass = "450 g/m2", resin_ratio = 3', 1.8, 0.45 / 2560 + 1.35 / 1200),
        ('glass = "450 g/m2", resin_ratio = 3, thickness = "1.5 mm"', 1.8, 0.0015),
    ],
)
def test_ways_to_give_a_layer(given_by, areal_mass, depth):
    text = layers(f'{{ name = "coat", faces = ["carved"], {given_by} }}')
    layer = Job.from_toml(text).skin.layers[0]
    assert layer.areal_mass == pytest.approx(areal_mass, rel=1e-14)
    assert layer.depth == pytest.approx(depth, rel=1e-14)


@pytest.mark.parametrize(
    "given_by",
    [
        'thickness = "1 mm"',
        'glass = "450 g/m2"',
        "resin_ratio = 2.5",
        'density = "1750 kg/m3"',
        'mass = "1 kg/m2", glass = "450 g/m2", resin_ratio = 2.5',
        'mass = "1 kg/m2", resin_ratio = 2.5',
        'mass = "1 kg/m2", density = "1750 kg/m3", thickness = "1 mm"',
        'glass = "450 g/m2", resin_ratio = 2.5, density = "1750 kg/m3", thickness = "1 mm"',
        'edge_return = "50 mm"',
    ],
)
def test_layer_must_give_its_mass_in_one_way(given_by):
    error = refusal(layers(LAYER, f'{{ name = "mystery", faces = ["carved"], {given_by} }}'))
    assert error.key == "skin.layers[1]"
    assert str(error).startswith('skin.layers[1]: "mystery" has ')
    assert str(error).endswith("write one of: mass; glass and resin_ratio; density and thickness")


# Refusing.

BAD = [
    # key, TOML, what the message says
    ("title", "title = 3", "the number 3 stands where a text in quotes is needed"),
    ("title", 'title = "  "', "the text is empty"),
    ("title", 'title = "a\\tb"', "character 2 (U+0009) cannot be printed on one line"),
    ("carving", 'carving = "m"', "write [carving]"),
    ("carving", "[[carving]]", "a list stands where a table is needed"),
    ("carving.unit", "[carving]\nunit = 1", "the number 1 has no unit"),
    ("carving.unit", '[carving]\nunit = "kg"', "is a mass where a length is needed"),
    ("carving.unit", '[carving]\nunit = "0 mm"', "more than nothing is needed"),
    ("carving.up", '[carving]\nup = "Z"', 'write "x", "y", "z", "-x", "-y" or "-z"'),
    ("carving.up", "[carving]\nup = 2", "the number 2 is not a choice here"),
    ("carving.base", '[carving]\nbase = "open"', 'write "close" or "as-is"'),
    ("foam.billet", '[foam]\nbillet = "1 m"', "a list is needed (length, width, height)"),
    ("foam.billet", '[foam]\nbillet = ["1 m"]', "has 1 value where 3 are needed (length, width, height)"),
    ("foam.billet", '[foam]\nbillet = ["1 m", "1 m", "1 m", "1 m"]', "has 4 values where 3 are needed"),
    ("foam.billet[1]", '[foam]\nbillet = ["1 m", "1 kg", "1 m"]', "is a mass where a length is needed"),
    ("foam.billet[2]", '[foam]\nbillet = ["1 m", "1 m", "0 m"]', "more than nothing is needed"),
    ("foam.density", '[foam]\ndensity = "50 mm"', "is a length where a density is needed"),
    ("foam.density", '[foam]\ndensity = "inf kg/m3"', "is not a finite number"),
    ("foam.density", "[foam]\ndensity = nan", "the number is not finite"),
    ("foam.density", '[foam]\ndensity = "-1 kg/m3"', '"-1 kg/m3" is negative'),
    ("foam.kerf", "[foam]\nkerf = 3", 'has no unit and no quotes; write for example "3 mm"'),
    ("foam.kerf", '[foam]\nkerf = "3"', "has no unit: a length is a number and one of m, mm, cm, km, in, ft, yd"),
    ("foam.kerf", "[foam]\nkerf = false", "false stands where a length is needed"),
    ("foam.kerf", "[foam]\nkerf = 1979-05-27", "a date or time stands where"),
    ("foam.kerf", '[foam]\nkerf = ["3 mm"]', "a list stands where a length is needed"),
    ("blockup.built", '[blockup]\nbuilt = "as given"', 'write "unknown", "planned" or "as-given"'),
    ("blockup.rotation", '[blockup]\nrotation = "5 m"', "is a length where an angle is needed"),
    ("blockup.stagger", "[blockup]\nstagger = 1", "1.0 is out of range: a number from 0 to under 1"),
    ("blockup.stagger", "[blockup]\nstagger = -0.1", "out of range"),
    ("blockup.stagger", "[blockup]\nstagger = inf", "not finite"),
    ("blockup.offsets", '[blockup]\noffsets = "1 m"', "a list in square brackets is needed"),
    ("blockup.offsets[1]", '[blockup]\noffsets = [["0 m", "0 m"], ["1 m"]]', "2 are needed (along, across)"),
    ("blockup.heights[1]", '[blockup]\nheights = ["610 mm", "0 mm"]', "more than nothing is needed"),
    ("blockup.can_covers", '[blockup]\ncan_covers = "8 m"', "is a length where an area is needed"),
    ("blockup.stagger", "[blockup]\nstagger = 1" + "0" * 400, "not finite"),
    ("blockup.stagger", '[blockup]\nstagger = "0.5"', 'the text "0.5" stands where a plain number is needed'),
    ("skin.layers", "[skin]\nlayers = 3", "the number 3 stands where a list of tables is needed"),
    ("skin.layers", '[skin]\nlayers = ["foil"]', "a list of tables is needed"),
    ("skin.layers[0].name", layers('{ mass = "1 kg/m2", faces = ["carved"] }'), "name is missing"),
    ("skin.layers[1].faces", layers(LAYER, '{ name = "a", mass = "1 kg/m2" }'), "the list is empty"),
    (
        "skin.layers[0].faces[1]",
        layers('{ name = "a", mass = "1 kg/m2", faces = ["base", "front"] }'),
        'the text "front" is not a choice here; write "carved", "joint", "base" or "back"',
    ),
    (
        "skin.layers[0].faces",
        layers('{ name = "a", mass = "1 kg/m2", faces = ["base", "base"] }'),
        '"base" stands in the list twice',
    ),
    ("skin.layers[0].mass", layers('{ name = "a", mass = "0 g/m2", faces = ["base"] }'), "more than nothing"),
    ("skin.layers[0].mass", layers('{ name = "a", mass = "4 oz", faces = ["base"] }'), "where an areal mass is needed"),
    (
        "skin.layers[0].resin_ratio",
        layers('{ name = "a", glass = "1 kg/m2", resin_ratio = 0, faces = ["base"] }'),
        "a number above 0 up",
    ),
    (
        "skin.layers[0].edge_return",
        layers('{ name = "a", mass = "1 kg/m2", faces = ["base"], edge_return = "-1 mm" }'),
        "is negative",
    ),
    ("limits.piece_mass", '[limits]\npiece_mass = "0 kg"', 'nothing is needed; write for example "50 kg"'),
    ("limits.crew", "[limits]\ncrew = 0", "the number 0 is out of range: one or more"),
    ("limits.crew", "[limits]\ncrew = 4.0", "the number 4.0 stands where a whole number"),
    ("limits.crew", "[limits]\ncrew = true", "true stands where a whole number"),
    ("limits.crew", '[limits]\ncrew = "4"', 'the text "4" stands where a whole number'),
    ("limits.doorway", '[limits]\ndoorway = ["1 m", "1 m", "1 m"]', "has 3 values where 2 are needed (width, height)"),
    ("limits.hand_room", '[limits]\nhand_room = "1.5 m"', "leaves nothing of a doorway 3 m wide and 3 m high"),
    ("limits.any_pose", '[limits]\nany_pose = "true"', "true or false, without quotes, is needed"),
    ("limits.any_pose", "[limits]\nany_pose = 1", "the number 1 stands where true or false"),
    ("limits.piece_size[0]", '[limits]\npiece_size = ["0 m", "1 m", "1 m"]', "more than nothing is needed"),
    ("joints.kinds", "[joints]\nkinds = []", 'one or more of "plane" and "profile"'),
    ("joints.kinds[0]", '[joints]\nkinds = ["ruled"]', 'write "plane" or "profile"'),
    ("joints.seams[1]", '[joints]\nseams = ["marked", "glue"]', 'write "crevice", "marked" or "glue line"'),
    ("joints.seam_tolerance", "[joints]\nseam_tolerance = 0", "0 is nothing, and more than nothing is needed"),
    ("joints.on_seam_note", "[joints]\non_seam_note = 1.01", "1.01 is out of range: a number from 0 to 1"),
    ("load_space.payload", '[load_space]\npayload = "20000"', "has no unit"),
]


@pytest.mark.parametrize(("key", "text", "says"), BAD, ids=[f"{n}-{row[0]}" for n, row in enumerate(BAD)])
def test_refuses(key, text, says):
    error = refusal(text)
    assert error.key == key
    assert str(error).startswith(f"{key}: " if not key.endswith(".name") else "skin.layers[0]: ")
    assert says in str(error)
    assert "write" in str(error), "what to write instead"


@pytest.mark.parametrize(
    ("text", "key", "nearest"),
    [
        ('[foam]\nkerv = "3 mm"', "foam.kerv", '"kerf" in [foam]'),
        ("[foam]\nstager = 0.5", "foam.stager", '"stagger" in [blockup]'),
        ('kerf = "3 mm"', "kerf", '"kerf" in [foam]'),
        ('[limits]\npiecemass = "3 kg"', "limits.piecemass", '"piece_mass" in [limits]'),
        ('[limits]\nload_space = "3 kg"', "limits.load_space", '"'),
        ('titel = "x"', "titel", '"title" at the top, before the first table'),
        ("[load-space]", "load-space", "[load_space]"),
        ("[Foam]", "Foam", "[foam]"),
        ("[foam.wire]", "foam.wire", "["),
        (layers('{ name = "a", mas = "1 kg/m2", faces = ["base"] }'), "skin.layers[0].mas", '"mass" in [skin.layers]'),
        ('[foam]\n"a\\nb" = 1', 'foam."a\\nb"', '"'),
        ('[carving]\nmand = "small"', "carving.mand", '"mend" in [carving]; known in [carving]: unit, up, base'),
    ],
)
def test_unknown_key_names_the_nearest(text, key, nearest):
    error = refusal(text)
    assert error.key == key
    assert str(error).startswith(f"{key}: unknown ")
    named = str(error).split("the nearest known one is ")[1]
    assert nearest in named


@pytest.mark.parametrize("key", sorted(known_keys() - {"title"}))
def test_a_slip_in_any_key_names_that_key(key):
    table, name = key.split(".")
    for slip in (name[:-1], name + "s", name.replace("_", "-") + "_"):
        error = refusal(f"[{table}]\n{slip} = 1")
        assert f'the nearest known one is "{name}" in [{table}]' in str(error)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("title = \n", "line 1, column 9: "),
        ('title = "a"\n[foam\nkerf = "3 mm"\n', "line 2, column 6: "),
        ('title = "a"\n[foam]\nkerf = 3 mm\n', "line 3, column 10: "),
        ('title = "a"\n[foam]\nkerf = "3 mm', "line 3, at the end: "),
        ('[foam]\nkerf = "3 mm"\nkerf = "4 mm"\n\n', "line 3, column 14: "),
        ("[foam]\n[limits]\n[foam]\n", "line 3, column 6: "),
        ("kerf", "line 1, at the end: "),
    ],
)
def test_broken_toml_names_the_line(text, place):
    error = refusal(text)
    assert error.key == ""
    assert str(error).startswith(place + "not valid TOML: ")


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = " + "1" * 5000])
def test_hostile_toml_is_refused_like_any_other(text):
    assert str(refusal(text)).startswith("not valid TOML: ")


@given(st.text(max_size=60) | st.text(alphabet='[]{}=",.\n #ab1-', max_size=40))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(JobError):  # and nothing else
        assert isinstance(Job.from_toml(text), Job)


@given(st.data())
def test_template_with_a_slip_is_refused_or_read_as_it_stands(data):
    """A few characters lost, and others in their place: never another error, never a job that cannot be written."""
    text = job_template()
    start = data.draw(st.integers(0, len(text) - 1))
    stop = start + data.draw(st.integers(0, 8))
    slipped = text[:start] + data.draw(st.text(alphabet='"-.,0e9 mkg=[]{}#\n', max_size=3)) + text[stop:]
    with contextlib.suppress(JobError):
        job = Job.from_toml(slipped)
        assert Job.from_toml(job.to_toml()) == job


@pytest.mark.parametrize(
    ("make", "key"),
    [
        (lambda: Limits(piece_mass=-1.0), "limits.piece_mass"),
        (lambda: Limits(piece_mass=math.nan), "limits.piece_mass"),
        (lambda: Limits(piece_mass="50 kg"), "limits.piece_mass"),
        (lambda: Limits(piece_mass=None), "limits.piece_mass"),
        (lambda: Foam(billet=(1.0, 1.0)), "foam.billet"),
        (lambda: Foam(billet=(1.0, 1.0, 0.0)), "foam.billet[2]"),
        (lambda: Carving(up="w"), "carving.up"),
        (lambda: Layer("a", mass=1.0), "skin.layers.faces"),
        (lambda: Layer("a", faces=("carved",)), "skin.layers"),
        (lambda: Skin(layers=("foil",)), "skin.layers"),
        (lambda: Skin(layers=3), "skin.layers"),
        (lambda: Job(limits=Foam()), "limits"),
        (lambda: Job(title="\ud800"), "title"),
        (lambda: dataclasses.replace(Job().joints, kinds=()), "joints.kinds"),
    ],
)
def test_a_job_made_in_python_is_checked_too(make, key):
    with pytest.raises(JobError) as caught:
        make()
    assert caught.value.key == key
    assert str(caught.value).startswith(f"{key}: ")


# Writing.

POSITIVE = st.floats(min_value=0, exclude_min=True, allow_infinity=False)
NOT_NEGATIVE = st.floats(min_value=0, allow_infinity=False)
ANY = st.floats(allow_nan=False, allow_infinity=False)
SHARE = st.floats(min_value=0, max_value=1)
LINE = st.text(st.characters(exclude_categories=("Cc", "Cs"), exclude_characters="\ufffe\uffff"), min_size=1).filter(
    str.strip
)


def some(words: tuple[str, ...], least: int = 1) -> st.SearchStrategy[tuple[str, ...]]:
    return st.lists(st.sampled_from(words), unique=True, min_size=least).map(tuple)


COMMON = {"name": LINE, "faces": some(FACES), "edge_return": NOT_NEGATIVE}
LAYERS = st.one_of(
    st.builds(Layer, mass=POSITIVE, thickness=st.none() | POSITIVE, **COMMON),
    st.builds(Layer, glass=POSITIVE, resin_ratio=POSITIVE, thickness=st.none() | POSITIVE, **COMMON),
    st.builds(Layer, density=POSITIVE, thickness=POSITIVE, **COMMON),
)
JOBS = st.builds(
    Job,
    title=LINE,
    carving=st.builds(
        Carving,
        unit=POSITIVE,
        up=st.sampled_from(["x", "y", "z", "-x", "-y", "-z"]),
        base=st.sampled_from(["close", "as-is"]),
    ),
    foam=st.builds(Foam, billet=st.tuples(POSITIVE, POSITIVE, POSITIVE), density=POSITIVE, kerf=NOT_NEGATIVE),
    blockup=st.builds(
        BlockUp,
        built=st.sampled_from(["unknown", "planned", "as-given"]),
        origin=st.tuples(ANY, ANY, ANY),
        rotation=ANY,
        stagger=st.floats(min_value=0, max_value=1, exclude_max=True),
        position=st.sampled_from(["fewest", "given"]),
        offsets=st.lists(st.tuples(ANY, ANY), max_size=3).map(tuple),
        heights=st.lists(POSITIVE, max_size=3).map(tuple),
        margin=NOT_NEGATIVE,
        can_covers=POSITIVE,
    ),
    skin=st.builds(Skin, layers=st.lists(LAYERS, max_size=3).map(tuple), bridging=NOT_NEGATIVE),
    limits=st.builds(
        Limits,
        piece_mass=POSITIVE,
        crew=st.integers(min_value=1, max_value=2**63 - 1),
        person_lift=POSITIVE,
        doorway=st.tuples(st.floats(1, 10), st.floats(1, 10)),
        hand_room=st.floats(0, 0.4),
        min_thickness=NOT_NEGATIVE,
        wire_length=POSITIVE,
        within_billet=st.booleans(),
        any_pose=st.booleans(),
        piece_size=st.none() | st.tuples(POSITIVE, POSITIVE, POSITIVE),
    ),
    joints=st.builds(
        Joints,
        kinds=some(("plane", "profile")),
        fit=NOT_NEGATIVE,
        seams=some(("crevice", "marked", "glue line"), least=0),
        seam_tolerance=POSITIVE,
        on_seam_note=SHARE,
        on_seam_warn=SHARE,
        sliver=NOT_NEGATIVE,
    ),
    load_space=st.builds(
        LoadSpace, size=st.tuples(POSITIVE, POSITIVE, POSITIVE), door=st.tuples(POSITIVE, POSITIVE), payload=POSITIVE
    ),
)


@given(JOBS)
def test_writing_loses_nothing(job):
    text = job.to_toml()
    again = Job.from_toml(text)
    assert again == job
    assert hash(again) == hash(job)
    assert again.to_toml() == text


def test_written_job_has_every_key_and_si_units():
    limits, marking = Limits(piece_size=(2.4, 1.2, 1.2)), Marking(prefix="W-")
    job = dataclasses.replace(Job(), limits=limits, joints=Joints(pieces=20), marking=marking)
    text = job.to_toml()
    assert keys_of(tomllib.loads(text)) == known_keys()
    assert 'billet = ["2.44 m", "1.22 m", "0.61 m"]\n' in text
    assert 'density = "15 kg/m3"\n' in text
    assert 'rotation = "0 rad"\n' in text
    assert "piece_size" not in Job().to_toml()


def test_title_with_quotes_and_backslashes():
    job = Job(title='Skerry "\\n" № 2 = [x] # \N{ROCK}')
    assert Job.from_toml(job.to_toml()) == job


def test_rows_of_pins_and_datum_marks():
    text = """
    [build]
    pins = [{ part = ["1.2 m", "0.4 m", "300 mm"], place = 2 }]
    [setting_out]
    marks = [{ name = "F1", scan = ["0 m", "0 m", "0 m"], site = ["2.412 m", "0.3 m", "0 m"], floor = false }]
    """
    job = Job.from_toml(text)
    assert [(pin.part, pin.place) for pin in job.build.pins] == [((1.2, 0.4, 0.3), 2)]
    assert [(m.name, m.site, m.floor) for m in job.setting_out.marks] == [("F1", (2.412, 0.3, 0.0), False)]
    assert Job.from_toml(job.to_toml()) == job


@pytest.mark.parametrize("prefix", ["../x", "a/b", "<b>", "ü", "123456789", "a b"])
def test_a_prefix_stays_fit_for_a_file_name(prefix):
    with pytest.raises(JobError, match=r"marking\.prefix"):
        Marking(prefix=prefix)
