# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pack_sample import png, sample_result
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.errors import InputError
from seamwright.core.job import Job
from seamwright.core.jobpack import is_job_record, joints_json, pack_files, read_joints, read_marked_joints
from seamwright.core.jobpack.csv_text import csv_text, defuse, number_text
from seamwright.core.jobpack.tables import joints_csv, pieces_csv, takeoff_csv

PLANE = {"mark": "A", "kind": "plane", "part": None, "point": [0, 0, 0.5], "normal": [0, 0, 1]}
PROFILE = {
    "mark": "B",
    "kind": "profile",
    "part": [1, 2, 3],
    "origin": [0, 0, 0],
    "u": [1, 0, 0],
    "w": [0, 0, 1],
    "points": [[0, 0], [1, 0.25]],
}


def joints_text(*joints: object) -> str:
    return json.dumps({"schema_version": 1, "joints": list(joints)})


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (-0.0, "0"),
        (1.0, "1"),
        (0.1 + 0.2, "0.3"),
        (1.0 / 3.0, "0.333333333"),
        (-2.0 / 3.0, "-0.666666667"),
        (123456.7891234, "123456.789"),
        (1234567891.5, "1234567890"),
        (1.5e-7, "0.00000015"),
        (2.5, "2.5"),
    ],
)
def test_numbers_have_nine_digits_a_dot_and_no_exponent(value: float, text: str) -> None:
    assert number_text(value) == text


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12))
def test_numbers_read_back_to_nine_digits(value: float) -> None:
    text = number_text(value)
    assert not set(text) - set("-0123456789.")
    assert float(text) == pytest.approx(value, rel=5.001e-9, abs=0.0)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_no_number_no_cell(value: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        number_text(value)


def test_csv_quotes_only_where_needed_and_ends_rows_with_crlf() -> None:
    text = csv_text(("a", "b"), [("x,y", 1), ('say "hi"', None), ("two\nlines", -2.5)])
    assert text == 'a,b\r\n"x,y",1\r\n"say ""hi""",\r\n"two\nlines",-2.5\r\n'
    with pytest.raises(ValueError, match="2 columns"):
        csv_text(("a", "b"), [("x",)])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx", '=HYPERLINK("//x")'])
def test_formulas_are_defused_in_text_cells_and_heads(text: str) -> None:
    assert defuse(text) == "'" + text
    head, row = csv_text((text,), [(text,)]).split("\r\n", 1) if "\r" not in text else ("", "")
    for line in (head, row):
        assert line.strip('"').startswith("'") or "\r" in text


def test_plain_text_and_numbers_are_left_alone() -> None:
    assert defuse("A = B") == "A = B"
    assert csv_text(("a",), [(-1.5,), (-3,)]) == "a\r\n-1.5\r\n-3\r\n"


def test_pieces_csv_row_by_row() -> None:
    result = sample_result()
    head, *rows = pieces_csv(result).split("\r\n")
    assert head == (
        "mark,build_order,load_order,joints,length_m,width_m,height_m,foam_volume_m3,carved_area_m2,joint_area_m2,"
        "base_area_m2,back_area_m2,covering_carved_m2,covering_back_m2,foam_mass_kg,skin_mass_kg,finished_mass_kg,crew,status"
    )
    assert rows[-1] == ""
    middle = dict(zip(head.split(","), rows[1].split(","), strict=True))
    assert (middle["mark"], middle["joints"], middle["status"]) == ("2", "A B", "error")
    assert float(middle["foam_volume_m3"]) == pytest.approx(2.4, rel=1e-8)
    assert float(middle["foam_mass_kg"]) == pytest.approx(15.0 * 2.4, rel=1e-8)
    assert float(middle["finished_mass_kg"]) == pytest.approx(
        float(middle["foam_mass_kg"]) + float(middle["skin_mass_kg"]), rel=1e-8
    )


def test_joints_csv_has_a_row_for_each_contact() -> None:
    assert joints_csv(sample_result()) == (
        "mark,kind,piece_a,piece_b,area_m2,visible_length_m,on_seam_length_m,on_seam_share,furthest_from_seam_m,status"
        "\r\n"
        "A,plane,1,2,1,3,,,,ok\r\n"
        "B,profile,2,3,1,3,,,,warning\r\n"
    )


def test_takeoff_csv_leaves_prices_empty() -> None:
    head, foam, *rest = takeoff_csv(sample_result()).split("\r\n")
    assert head == "item,basis,net_quantity,unit,waste,order_quantity,unit_price,cost"
    assert foam.startswith("foam billet,")
    assert foam.endswith(",billet,0,3,,")
    assert len(rest) == len(sample_result().takeoff)


def test_job_json_replays_its_joints_bit_for_bit() -> None:
    result = sample_result()
    text = pack_files(result)["job.json"].decode()
    again = read_joints(text)
    assert joints_json([(r.mark, j) for r, j in zip(result.joints, again, strict=True)]) == joints_json(
        [(r.mark, r.joint) for r in result.joints]
    )


def test_any_direction_reads_back_bit_for_bit() -> None:
    rng = np.random.default_rng(11)
    for _ in range(400):
        u, other, normal, part = rng.normal(size=(4, 3)) * 10.0 ** rng.uniform(-4.0, 4.0)
        knots = np.stack((np.cumsum(rng.uniform(0.01, 1.0, 5)), rng.normal(size=5)), axis=1)
        joints = (Plane(part, normal), Profile(part, u, np.cross(u, other), knots, part))
        plane, profile = read_joints(joints_json(zip("AB", joints, strict=True)))
        assert isinstance(plane, Plane)
        assert isinstance(profile, Profile)
        assert plane.part is None
        for before, after, keys in (
            (joints[0], plane, ("point", "normal")),
            (joints[1], profile, ("origin", "u", "w", "points", "part")),
        ):
            for key in keys:
                assert getattr(before, key).tobytes() == getattr(after, key).tobytes()
                assert not getattr(after, key).flags.writeable


def test_hand_written_joints() -> None:
    plane, profile = read_joints(joints_text({"kind": "plane", "point": [0, 0, 1], "normal": [0, 0, 2]}, PROFILE))
    assert isinstance(plane, Plane)
    assert plane.normal.tolist() == [0.0, 0.0, 1.0]
    assert plane.part is None
    assert isinstance(profile, Profile)
    assert profile.points.tolist() == [[0.0, 0.0], [1.0, 0.25]]
    assert read_joints(joints_text()) == ()


def test_marks_of_a_joints_file_are_kept() -> None:
    entries = [{**PLANE, "mark": mark} for mark in ("K", "B2", "K")]
    entries += [{k: v for k, v in PLANE.items() if k != "mark"}]
    marks, joints = read_marked_joints(joints_text(*entries))
    assert marks == ("K", "B2", "", "")  # a copied joint has its own to get
    assert len(joints) == 4
    for bad in ("../x", "A B", "<b>", "ABCDEFGHI", "\u00c4"):
        with pytest.raises(InputError, match=r"joint 1: mark is .*; give up to 8 letters and digits"):
            read_marked_joints(joints_text({**PLANE, "mark": bad}))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("{", "is not JSON"),
        ("[" * 100000, "is not JSON"),
        ("[]", "no array named joints"),
        ('{"schema_version": 1, "joints": {}}', "no array named joints"),
        ('{"schema_version": 2, "joints": []}', "schema_version is 2"),
        ('{"schema_version": true, "joints": []}', "schema_version is True"),
        ('{"joints": []}', "schema_version is None"),
        ('{"schema_version": 1, "joints": [NaN]}', "holds NaN"),
        (joints_text("A"), 'joint 1 is "A"'),
        (joints_text(PLANE, {**PLANE, "kind": "ruled"}), r'joint 2 \(A\): kind is "ruled"; give plane or profile'),
        (joints_text({**PLANE, "kind": ["plane"]}), "kind is"),
        (joints_text({k: v for k, v in PLANE.items() if k != "kind"}), "kind is null"),
        (joints_text({k: v for k, v in PLANE.items() if k != "normal"}), "a plane without normal"),
        (joints_text({k: v for k, v in PROFILE.items() if k not in ("u", "w")}), "a profile without u and w"),
        (joints_text({**PLANE, "prat": [0, 0, 0]}), "unknown key 'prat'"),
        (joints_text({**PLANE, "mark": 3}), "mark is 3"),
        (joints_text({**PLANE, "point": [0, 0]}), r"point is \[0, 0\]; give an array of 3 numbers"),
        (joints_text({**PLANE, "point": [0, 0, True]}), "point is"),
        (joints_text({**PLANE, "point": "0 0 0"}), "point is"),
        (joints_text({**PLANE, "point": [0, 0, 10**400]}), "too large"),
        (joints_text({**PLANE, "part": 5}), "part is 5"),
        (joints_text({**PLANE, "normal": [0, 0, 0]}), "no length"),
        (joints_text({**PROFILE, "points": 7}), "points is 7"),
        (joints_text({**PROFILE, "points": []}), "points have shape"),
        (joints_text({**PROFILE, "points": [[0, 0], [1]]}), r"points 1 is \[1\]"),
        (joints_text({**PROFILE, "points": [[0, 0], [0, 1]]}), "do not rise"),
        (joints_text({**PROFILE, "w": [1, 0, 0]}), "not square"),
    ],
)
def test_what_is_wrong_with_a_joints_file_is_said(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        read_marked_joints(text, "cuts.json")
    assert str(caught.value).startswith("cuts.json: ")
    assert "\n" not in str(caught.value)


def test_findings_json() -> None:
    result = sample_result()
    record = json.loads(pack_files(result)["findings.json"])
    assert record["schema_version"] == 1
    assert [f["check"] for f in record["findings"]] == [f.check for f in result.findings]
    for entry in record["findings"]:
        assert sorted(entry) == [
            "check", "joint", "limit", "measured", "message", "piece", "remedy", "severity", "unit", "where",
        ]  # fmt: skip
        assert entry["severity"] in ("error", "warning", "note")
    assert record["findings"][-1]["where"] == [5.025, 0.025, 0.025]


def test_job_json_holds_settings_and_totals() -> None:
    result = sample_result()
    text = pack_files(result)["job.json"].decode()
    record = json.loads(text)
    assert is_job_record(text)
    assert Job.from_toml(record["settings_toml"]) == result.job
    assert record["settings"]["foam"]["density"].endswith("kg/m3")
    assert record["totals"]["foam_volume_m3"] == pytest.approx(4.2, rel=1e-12)
    assert record["totals"]["pieces"] == len(record["pieces"]) == 3
    assert record["totals"]["finished_mass_kg"] == pytest.approx(
        sum(piece["finished_mass_kg"] for piece in record["pieces"]), rel=1e-12
    )
    assert record["joint_totals"][0]["lines"] == [{"closed": True, "length_m": 4.0, "points": 5}]
    assert set(record["joints"][0]) == {"mark", "kind", "part", "point", "normal"}
    assert set(record["joints"][1]) == {"mark", "kind", "part", "origin", "u", "w", "points"}
    assert "seconds" not in text
    assert "0.123" not in text


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"made_by": "another"}', '{"schema_version": 1, "joints": []}'])
def test_other_json_is_not_taken_for_a_job_record(text: str) -> None:
    assert not is_job_record(text)


def test_pack_has_its_files_and_the_same_bytes_twice() -> None:
    first, second = (pack_files(sample_result(), {"b.png": png(), "a.png": png(6, 2)}) for _ in range(2))
    assert sorted(first) == [
        "build_order.csv", "findings.json", "job-pack.html", "job.json", "joints.csv", "labels.svg", "loading.csv",
        "packing.csv", "pieces.csv", "pieces/1.ply", "pieces/2.ply", "pieces/3.ply", "pieces/crumbs.ply", "setout.csv",
        "takeoff.csv", "templates/B-A4.html", "templates/B.svg",
    ]  # fmt: skip
    assert first == second
    assert pack_files(sample_result(), {"a.png": png(6, 2), "b.png": png()}) == first


def test_no_crumbs_no_crumbs_file() -> None:
    assert "pieces/crumbs.ply" not in pack_files(replace(sample_result(), crumbs=()))
